// The map of the ground. It needs no tiles: boundary, tracks, sites and sign are our own, on plain paper.
"use strict";
(() => {
  const box = document.getElementById("map");
  const source = document.getElementById("map-data");
  if (!box || !source || !window.L) return;
  const data = JSON.parse(source.textContent);
  const L = window.L;
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
  L.control.zoom({ position: "topright", zoomInTitle: "Nearer", zoomOutTitle: "Farther" }).addTo(map);
  L.control.scale({ position: "bottomleft", maxWidth: 160 }).addTo(map);
  const north = L.control({ position: "topleft" });
  north.onAdd = () => {
    const arrow = L.DomUtil.create("div", "north");
    arrow.setAttribute("role", "img");
    arrow.setAttribute("aria-label", "North is up");
    arrow.textContent = "N";
    return arrow;
  };
  north.addTo(map);

  const bounds = L.latLngBounds([]);
  if (data.boundary) {
    const shapes = L.geoJSON(data.boundary, {
      interactive: false,
      style: (feature) => ({ className: /Polygon/.test(feature.geometry?.type || "") ? "boundary" : "track" }),
      pointToLayer: (feature, at) => L.circleMarker(at, { radius: 3, className: "track" }),
    }).addTo(map);
    if (shapes.getBounds().isValid()) bounds.extend(shapes.getBounds());
  }

  const text = (tag, words, parent, css) => {
    const made = document.createElement(tag);
    made.textContent = words;
    if (css) made.className = css;
    parent?.append(made);
    return made;
  };
  const link = (url, words, parent) => {
    const made = text("a", words, parent);
    made.href = url;
    return made;
  };
  const labels = [];
  for (const site of data.sites) {
    const css = [
      "mk",
      site.cameras.length ? "camera" : "",
      site.sensitive ? "sensitive" : "",
      site.retired ? "retired" : "",
      site.rank ? "ranked" : "",
    ];
    const icon = L.divIcon({
      className: "mk-box",
      iconSize: [44, 44],
      html: `<span class="${css.join(" ")} f-${site.feature}">${site.rank ? Number(site.rank) : ""}</span>`,
    });
    const marker = L.marker(site.at, { icon, title: site.name, alt: site.name, riseOnHover: true }).addTo(map);
    const words = document.createElement("div");
    link(site.url, site.name, words).className = "popname";
    text(
      "span",
      [site.what, site.sensitive ? "sensitive" : "", site.cameras.join(", ") || "no camera"]
        .filter(Boolean)
        .join(" · "),
      words,
      "under",
    );
    marker.bindPopup(words);
    const label = document.createElement("span");
    label.textContent = site.name;
    labels.push([marker, label, site.rank ? 2 : 8]);
    bounds.extend(site.at);
  }
  for (const seen of data.sign) {
    const icon = L.divIcon({ className: "mk-box", iconSize: [24, 24], html: '<span class="mk sign"></span>' });
    const title = [seen.what, seen.species, seen.on].filter(Boolean).join(", ");
    const words = document.createElement("div");
    link(seen.url, title, words);
    L.marker(seen.at, { icon, title, alt: title, zIndexOffset: -500, keyboard: false }).addTo(map).bindPopup(words);
    bounds.extend(seen.at);
  }

  // Names stand towards the middle, so that none runs off the map.
  const middle = bounds.isValid() ? bounds.getCenter().lng : 0;
  for (const [marker, label, near] of labels) {
    const left = labels.length > 1 && marker.getLatLng().lng > middle;
    marker.bindTooltip(label, {
      permanent: true,
      direction: left ? "left" : "right",
      offset: [left ? near : -near, 0],
      className: "sitename",
    });
  }

  const spread = bounds.isValid() && !bounds.getSouthWest().equals(bounds.getNorthEast());
  if (spread) map.fitBounds(bounds, { padding: [28, 28], animate: false });
  else map.setView(bounds.isValid() ? bounds.getCenter() : data.middle, 14, { animate: false });

  // Names that would lie on others are left out; they come back as one goes nearer.
  const tidy = () => {
    const taken = [];
    for (const label of box.querySelectorAll(".sitename")) {
      label.classList.remove("hid");
      const a = label.getBoundingClientRect();
      const hit = taken.some((b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom);
      label.classList.toggle("hid", hit);
      if (!hit) taken.push(a);
    }
  };
  map.on("zoomend moveend", tidy);
  tidy();

  if (box.dataset.newSite) {
    map.on("click", (event) => {
      const { lat, lng } = event.latlng.wrap();
      const place = `?latitude=${lat.toFixed(5)}&longitude=${lng.toFixed(5)}`;
      const words = document.createElement("div");
      text("span", `${lat.toFixed(5)}, ${lng.toFixed(5)}`, words, "under");
      link(box.dataset.newSite + place, "New site here", words);
      words.append(" · ");
      link(box.dataset.newSign + place, "Sign seen here", words);
      L.popup().setLatLng(event.latlng).setContent(words).openOn(map);
    });
  }
  // The wheel scrolls the page until one has taken hold of the map.
  map.on("focus", () => map.scrollWheelZoom.enable());
  map.on("blur", () => map.scrollWheelZoom.disable());
})();
