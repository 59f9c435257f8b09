// The map of a round, choosing where rounds start, and drawing a stop to another place in the order.
"use strict";
(() => {
  const box = document.getElementById("map");
  const source = document.getElementById("map-data");
  const L = window.L;
  if (box && source && L) {
    const data = JSON.parse(source.textContent);
    const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    const map = L.map(box, {
      zoomControl: false,
      attributionControl: false,
      scrollWheelZoom: false,
      maxZoom: 19,
      minZoom: 3,
      zoomSnap: 0.25,
      fadeAnimation: !still,
      zoomAnimation: !still,
      markerZoomAnimation: !still,
    });
    map.setView(data.start || data.middle, 12, { animate: false });
    L.control.zoom({ position: "topright", zoomInTitle: "Nearer", zoomOutTitle: "Farther" }).addTo(map);
    L.control.scale({ position: "bottomleft", maxWidth: 160 }).addTo(map);
    const bounds = L.latLngBounds([]);
    if (data.boundary) {
      const shapes = L.geoJSON(data.boundary, {
        interactive: false,
        style: (feature) => ({ className: /Polygon/.test(feature.geometry?.type || "") ? "boundary" : "track" }),
        pointToLayer: (feature, at) => L.circleMarker(at, { radius: 3, className: "track" }),
      }).addTo(map);
      if (!data.trips.length && shapes.getBounds().isValid()) bounds.extend(shapes.getBounds());
    }
    const mark = (words, css) => {
      const span = document.createElement("span");
      span.className = `stopmark ${css}`;
      span.textContent = words;
      return span;
    };
    const icon = (inner, size = 44) => L.divIcon({ className: "mk-box", iconSize: [size, size], html: inner });
    for (const one of data.left) {
      const dot = document.createElement("span");
      dot.className = "mk";
      L.marker(one.at, {
        icon: icon(dot, 24),
        title: one.name,
        alt: one.name,
        keyboard: false,
        interactive: !data.choose,
      })
        .addTo(map)
        .bindTooltip(one.name);
      if (!data.trips.length) bounds.extend(one.at);
    }
    data.trips.forEach((trip, n) => {
      for (const line of trip.lines) {
        L.polyline(line, { className: `way t${n % 4}`, interactive: false }).addTo(map);
        for (const at of line) bounds.extend(at);
      }
    });
    data.trips.forEach((trip, n) => {
      for (const stop of trip.stops) {
        const name = `${stop.n}. ${stop.name}, ${stop.when}`;
        const words = document.createElement("div");
        const head = document.createElement("b");
        head.textContent = name;
        const under = document.createElement("span");
        under.className = "under";
        under.textContent = data.trips.length > 1 ? `${trip.name}: ${stop.why}` : stop.why;
        words.append(head, under);
        // Not reached by keyboard: stops may lie close together, and the list beside the map says all of it.
        L.marker(stop.at, {
          icon: icon(mark(stop.n, `t${n % 4}`)),
          title: name,
          alt: name,
          riseOnHover: true,
          keyboard: false,
        })
          .addTo(map)
          .bindPopup(words);
        bounds.extend(stop.at);
      }
    });
    let home = null;
    const put = (at) => {
      if (home) home.setLatLng(at);
      else {
        home = L.marker(at, {
          icon: icon(mark("", "home")),
          title: "Start",
          alt: "Start",
          zIndexOffset: -100,
          keyboard: false,
          interactive: false,
        }).addTo(map);
      }
    };
    if (data.start) {
      put(data.start);
      bounds.extend(data.start);
    }
    const spread = bounds.isValid() && !bounds.getSouthWest().equals(bounds.getNorthEast());
    if (spread) map.fitBounds(bounds, { padding: [30, 30], animate: false });
    else map.setView(bounds.isValid() ? bounds.getCenter() : data.middle, 14, { animate: false });
    map.on("focus", () => map.scrollWheelZoom.enable());
    map.on("blur", () => map.scrollWheelZoom.disable());

    if (data.choose) {
      const lat = document.getElementById("id_base_latitude");
      const lon = document.getElementById("id_base_longitude");
      map.on("click", (event) => {
        const { lat: a, lng: b } = event.latlng.wrap();
        lat.value = a.toFixed(5);
        lon.value = b.toFixed(5);
        put([a, b]);
        document.getElementById("chosen").textContent = `Chosen: ${lat.value}, ${lon.value}. Press Keep.`;
      });
      for (const field of [lat, lon]) {
        field.addEventListener("change", () => {
          const at = [Number.parseFloat(lat.value), Number.parseFloat(lon.value)];
          if (at.every(Number.isFinite) && Math.abs(at[0]) <= 90 && Math.abs(at[1]) <= 180) put(at);
        });
      }
    }
  }

  // A stop drawn to another place; the same can be done with its buttons.
  const form = document.getElementById("drawn");
  let dragged = null;
  if (form) {
    const lists = [...document.querySelectorAll(".stops[data-trip]")];
    const clear = () => {
      for (const li of document.querySelectorAll(".stop.over")) li.classList.remove("over");
    };
    for (const list of lists) {
      list.addEventListener("dragstart", (event) => {
        dragged = event.target.closest(".stop");
        dragged?.classList.add("dragged");
        event.dataTransfer.effectAllowed = "move";
        event.dataTransfer.setData("text/plain", dragged?.dataset.key || "");
      });
      list.addEventListener("dragend", () => {
        dragged?.classList.remove("dragged");
        dragged = null;
        clear();
      });
      list.addEventListener("dragover", (event) => {
        if (!dragged) return;
        event.preventDefault();
        clear();
        event.target.closest(".stop")?.classList.add("over");
      });
      list.addEventListener("drop", (event) => {
        if (!dragged) return;
        event.preventDefault();
        const at = event.target.closest(".stop");
        if (at === dragged) return;
        if (at) list.insertBefore(dragged, at);
        else list.append(dragged);
        form.elements.keys.value = lists
          .map((l) => [...l.querySelectorAll(".stop")].map((s) => s.dataset.key).join(","))
          .join("|");
        form.submit();
      });
    }
  }
})();
