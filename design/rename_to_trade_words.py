"""Rename the home-made words of the code to the trade's own, mechanically; to be run once, then deleted.

    git switch -c rename && python design/rename_to_trade_words.py
    rm src/trod/web/migrations/0*.py && (make the first migration anew)

Works on the tracked files below the working folder: identifiers by their parts (also in f-strings), prose in strings,
comments and pages by phrase, addresses and template names, and moves the files. What it leaves to a person: JavaScript's
own names, the sense of "word" in prose, changelog, glossary, and sentences that read oddly afterwards. Tried on the tree
of 30 November 2026 before the last changes: ruff found no undefined name, tests/findings and tests/archive passed whole,
508 tests of the catalogue and four page rooms ended with 59 failures of a dozen causes, most of them mended here since.
"""

# ruff: noqa  (a tool for one day, deleted with the renaming)
import io, re, subprocess, sys, tokenize, os
from pathlib import Path

ROOT = Path.cwd()


def sh(*a):
    return subprocess.run(a, cwd=ROOT, check=True, capture_output=True, text=True).stdout


files = [f for f in sh("git", "ls-files").split("\n") if f]

# ---------------------------------------------------------------- segment rules for identifiers
# (sequence of lower-case segments) -> (sequence), with optional scope regex (path must match) and not-scope
R = []


def rule(old, new, scope=None, but=None):
    R.append(
        (
            tuple(old.split()),
            tuple(new.split()),
            re.compile(scope) if scope else None,
            re.compile(but) if but else None,
        )
    )


rule("watch correction", "clock correction")
rule("watch corrections", "clock corrections")
rule("watch form", "clock form")
rule("watch new", "clock new")
rule("watch work", "clock work")
rule("watch undo", "clock undo")
rule("follow watch", "follow clock")
rule("camera watch", "camera clock")
rule("setup slip", "setup sheet")
rule("slip code", "setup code")
rule("slip", "setup sheet")
rule("slips", "setup sheets")
rule("packet", "field form")
rule("packets", "field forms")
rule("bench", "planner", but=r"^benchmarks/(?!bench)")
rule("unknown hunger", "unknown draw")
rule("hunger", "power draw")
rule("hungers", "power draws")
rule("storms", "false runs")
rule("storm", "false run")
rule("stormy", "false running")
rule("quiet days", "disturbance days")
rule("mishap", "incident")
rule("mishaps", "incidents")
rule("shelf line", "stock line")
rule("most shelf", "most stock")
rule("keeping", "earlier", scope=r"(^|/)archive/")
rule("keeping", "maintenance")
NOTBATT = r"(blur|heightgrid|height_grid|tables?|charts|field_table|canon|nonsense|jobs?|job|generalis|fit_to_leave|leaving|untouched|resampl|resolution|sketch_map|scene|easel|season|glare|herd|sidebyside|target_|hills|edge)\w*\.(py|html)$|demo/(past|scenery|quadrupeds|animals)|web/lists|trod/limits|leaving/|models_csv|test_lists|upload|import_|exchange/"
rule("watch undo", "clock undo")
rule("clean batteries", "clean batteries")
rule("cells percent", "battery percent")
rule("cells kind", "battery kind")
rule("cells count", "battery count")
rule("cell kinds", "battery kinds")
rule("cells", "batteries", but=NOTBATT)
rule("cell", "battery", but=NOTBATT)
rule("ribbon", "timeline")
rule("ribbons", "timelines")
rule("intake pk", "import pk")
rule("unfinished intake", "unfinished import")
rule("intakes", "imports")
rule("take in", "import card")
rule("taken in", "imported")
rule("unproven", "unverified")
rule("proven", "verified")
rule("age class", "life stage")
rule("unsure", "unknown")
rule("hunch", "suggestion")
rule("hunches", "suggestions")
rule("next passage", "next detection")
rule("passages", "detections", but=r"planning/|web/(advice|bench)/")
rule("passage", "detection", but=r"planning/|web/(advice|bench)/")
rule("sightings", "observations")
rule("sighting", "observation")
EVBUT = r"icalendar|web/(server|worker|jobs)\.py|test_icalendar"
rule("event", "sequence", but=EVBUT)
rule("events", "sequences", but=EVBUT)
rule("eventful", "sequenced")
rule("dial in", "camera settings")
rule("dials", "inputs")
rule("dialled", "entered")
rule("dial error", "clock error")
rule("dial", "input")
W = r"web/catalogue/(words|wordlines|replay|evidence|events|rebuild|aside|ledger|answers|usual|records|demo|take_in|eye|watch)|web/look/|web/models|demo/words|archive/sidecar|tests/support/(eventful|canon|asked)|tests/web/(look|catalogue/test_(words|events|rebuild|evidence))|tests/archive/test_sidecar|tests/demo/test_truth|web/today|web/ground/pages|web/reports/exporting|web/questions|web/pictures"
rule("wordlines", "identification lines")
rule("words from truth", "identifications from truth")
rule("read words", "read identifications")
rule("append words", "append identifications")
rule("append word", "append identification")
rule("word id", "identification id")
# longest first
R.sort(key=lambda r: -len(r[0]))
EXACT = {  # whole identifiers
    "Word": "Identification",
    "Words": "Identifications",
    "Intake": "Import",
    "IntakeResult": "ImportResult",
    "IntakePage": "ImportPage",
    "PERSON": None,
}
STAY = {
    "cell_of",
    "HEIGHTS_CELLS",
    "CELLS_A_DAY",
    "CELL_DEG",
    "CELL_PX",
    "EVENT",
    "SHELF",
    "cell_by",
    "sign_event",
    "CustomEvent",
    "addEventListener",
    "dispatchEvent",
    "event_loop",
    "benchmark",
    "benchmarks",
    "in_words",
    "PasswordInput",
    "MAIN_EVENT",
}
KEYWORD = {"import": "card_import"}


def split(name):
    """segments with style; returns list of (text, sep_before)"""
    parts = re.findall(r"_+|[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+|[0-9]+|[^\W\d_]+", name)
    return parts


def style(like, word):
    if like.isupper() and (len(like) > 1):
        return word.upper()
    if like[:1].isupper():
        return word.capitalize()
    return word


def ident(name, path):
    if name in STAY:
        return name
    parts = split(name)
    if "".join(parts) != name:
        return name
    snake = not re.search(r"[a-z][A-Z]|^[A-Z][a-z]", name)
    segs = [(i, p) for i, p in enumerate(parts) if not p.startswith("_")]
    out = list(parts)
    low = [p.lower() for _, p in segs]
    k = 0
    changed = False
    while k < len(segs):
        for old, new, scope, but in R:
            n = len(old)
            if (
                tuple(low[k : k + n]) == old
                and (scope is None or scope.search(path))
                and not (but and but.search(path))
            ):
                first = segs[k][1]
                allup = name.isupper()
                words = [
                    style(
                        first
                        if j == 0
                        else (first if (allup or first.isupper()) else (first if not snake else first.lower())),
                        w,
                    )
                    for j, w in enumerate(new)
                ]
                if not snake:
                    joined = words[0] + "".join(w.capitalize() for w in words[1:])
                else:
                    joined = "_".join(w.upper() if allup else w for w in ([words[0]] + [w for w in words[1:]]))
                i0 = segs[k][0]
                i1 = segs[k + n - 1][0]
                out[i0 : i1 + 1] = [joined] + [""] * (i1 - i0)
                k += n
                changed = True
                break
        else:
            k += 1
    new = "".join(out)
    if not changed:
        return EXACT.get(name) or name
    return new


def intake_ident(name, path):
    # intake as a segment of its own
    if name in EXACT and EXACT[name]:
        return EXACT[name]
    if name == "intake":
        return "card_import"
    if re.search(r"(^|_)intake($|_)", name):
        return re.sub(r"(^|_)intake($|_)", lambda m: m[1] + "card_import" + m[2], name)
    if "INTAKE" in name:
        return name.replace("INTAKE", "IMPORT")
    return re.sub(r"Intake", "Import", name)


WORDFILES = re.compile(W)


def word_ident(name, path):
    if name in ("words", "word", "WORDS", "words_", "last_word", "the_word") and not WORDFILES.search(path):
        return name
    m = {"word": "identification", "WORDS": "IDENTIFICATIONS"}
    if name in m:
        return m[name]
    if name.startswith("word__"):
        name = "identification__" + name[6:]
    name = re.sub(r"__word(?=__|$)", "__identification", name)
    name = re.sub(r"__words(?=__|$)", "__identifications", name)
    name = {
        "words__isnull": "identifications__isnull",
        "word__isnull": "identification__isnull",
        "word__in": "identification__in",
    }.get(name, name)
    return name


def name_map(name, path):
    if name in STAY or name.startswith("test_"):
        if not name.startswith("test_"):
            return name
    n = ident(name, path)
    n = intake_ident(n, path)
    n = word_ident(n, path)
    return KEYWORD.get(n, n) if n != name else name


# ---------------------------------------------------------------- prose
P = []


def prose(old, new, **k):
    old = re.sub(r"^\\b", r"(?<![\\w./:#\\-])", old)
    old = re.sub(r"\\b$", r"(?![\\w/]|[.:\\-]\\w)", old)
    P.append((re.compile(old), new, k.get("scope") and re.compile(k["scope"]), k.get("but") and re.compile(k["but"])))


def both(old, new, an_old=True):
    """nouns with article and capital"""
    for a, b in ((old, new), (old.capitalize(), new.capitalize())):
        prose(
            r"\b([Aa])n %s\b" % a if a[0].lower() in "aeiou" else r"\b([Aa]) %s\b" % a,
            (r"\1n " if b[0].lower() in "aeiou" else r"\1 ") + b,
        )
        prose(r"\b%s\b" % a, b)


both("watch corrections", "clock corrections")
both("watch correction", "clock correction")
prose(r"\bset-?up slips\b", "set-up sheets")
prose(r"\bset-?up slip\b", "set-up sheet")
prose(r"\bSet-?up slip\b", "Set-up sheet")
both("slips", "set-up sheets")
both("slip", "set-up sheet")
both("packets", "field forms")
both("packet", "field form")
both("bench", "placement planner")
both("hunger", "power draw")
both("storms", "runs of false triggers")
both("storm", "run of false triggers")
both("quiet days", "days of disturbance")
both("mishaps", "incidents")
both("mishap", "incident")
both("shelf", "stock")
both("ribbons", "activity timelines")
both("ribbon", "activity timeline")
both("look-through", "review")
both("unsure", "unknown")
both("hunches", "suggestions")
both("hunch", "suggestion")
both("passages", "detections")
both("passage", "detection")
both("sightings", "observations")
both("sighting", "observation")
both("events", "sequences")
both("event", "sequence")
both("intakes", "imports")
both("intake", "import")
both("unproven", "unverified")
both("age classes", "life stages")
both("age class", "life stage")
prose(r"words\.jsonl", "identifications.jsonl")
prose(r"words\.torn", "identifications.torn")
prose(r"\bstruck out\b", "withdrawn")
prose(r"\bStruck out\b", "Withdrawn")
prose(r"\btaken in\b", "imported")
prose(r"\btake in\b", "import")
prose(r"\btakes in\b", "imports")
prose(r"\btaking in\b", "importing")
prose(r"\bTake in\b", "Import")
prose(r"\btook in\b", "imported")
both("cells", "batteries")
both("cell", "battery")
prose(r"\bdials\b", "inputs")
prose(r"\bdial in\b", "set")
prose(r"\bDial in\b", "Set")
prose(r"\bdial\b", "input")
prose(r"\bDials?\b", "Input")

PROSEBUT = re.compile(r"icalendar|LICENSE|CHANGELOG|\.css$")


def text_map(s, path):
    for rx, new, scope, but in P:
        if scope and not scope.search(path):
            continue
        if but and but.search(path):
            continue
        if ("cell" in rx.pattern or "batter" in new.lower()) and re.search(NOTBATT, path):
            continue
        if "assage" in rx.pattern and re.search(r"planning/|/advice|/bench", path):
            continue
        s = rx.sub(new, s)
    # identifiers inside text
    s = re.sub(
        r"(?<![\w])[A-Za-z_][A-Za-z0-9]*(?:_[A-Za-z0-9]+)+(?![\w])|(?<![\w])[A-Z][a-z]+(?:[A-Z][a-z]+)+(?![\w])",
        lambda m: name_map(m[0], path) if not m[0].startswith("test_") else m[0],
        s,
    )
    return s


# exact string values (whole string literals, or keys)
EXACT_STR = {
    "Word": "Identification",
    "event": "sequence",
    "events": "sequences",
    "sighting": "observation",
    "sightings": "observations",
    "word": "identification",
    "intake": "card_import",
    "intakes": "imports",
    "unsure": "unknown",
    "age_class": "life_stage",
    "packet": "field_form",
    "slip": "setup_sheet",
    "bench": "planner",
    "WORDS": "IDENTIFICATIONS",
    "Words": "Identifications",
    "trod_word": "trod_identification",
    "look": "review",
    "mishap": "incident",
    "mishaps": "incidents",
    "keeping": "maintenance",
    "ribbons": "timelines",
    "watch_corrections": "clock_corrections",
    "take_in": "import_card",
}


def plain_text(body, path):
    for a, b in MODS:
        body = a.sub(b, body)
    return text_map(paths_in(body), path)


def expr_map(e, path):
    try:
        toks = list(tokenize.generate_tokens(io.StringIO("(" + e + ")").readline))
    except Exception:
        return e
    out = []
    pos = 0
    text = "(" + e + ")"
    offs = [0]
    for l in text.splitlines(keepends=True):
        offs.append(offs[-1] + len(l))
    prev = ""
    for t in toks:
        new = None
        if t.type == tokenize.NAME:
            new = per_file(t.string, path, prev) or name_map(t.string, path)
        elif t.type == tokenize.STRING:
            new = string_token(t.string, path)
        if new is not None and new != t.string:
            a = offs[t.start[0] - 1] + t.start[1]
            b = offs[t.end[0] - 1] + t.end[1]
            out.append(text[pos:a])
            out.append(new)
            pos = b
        prev = t.string
    out.append(text[pos:])
    return "".join(out)[1:-1]


def fstring(body, path):
    out = []
    lit = []
    i = 0
    n = len(body)

    def flush():
        if lit:
            out.append(plain_text("".join(lit), path))
            lit.clear()

    while i < n:
        c = body[i]
        if c == "{" and body[i : i + 2] == "{{":
            lit.append("{{")
            i += 2
            continue
        if c == "}" and body[i : i + 2] == "}}":
            lit.append("}}")
            i += 2
            continue
        if c != "{":
            lit.append(c)
            i += 1
            continue
        depth = 0
        j = i + 1
        q = None
        specat = None
        while j < n:
            d = body[j]
            if q:
                if d == q:
                    q = None
            elif d in "'\"":
                q = d
            elif d in "([{":
                depth += 1
            elif d in ")]":
                depth -= 1
            elif d == "}":
                if depth == 0:
                    break
                depth -= 1
            elif d == ":" and depth == 0 and specat is None:
                specat = j
            elif d == "!" and depth == 0 and specat is None and body[j + 1 : j + 2] != "=":
                specat = j
            j += 1
        flush()
        end = specat if specat is not None else j
        spec = body[end:j]
        if "{" in spec:
            spec = re.sub(r"\{([^{}]*)\}", lambda m: "{" + expr_map(m[1], path) + "}", spec)
        e = body[i + 1 : end]
        eq = ""
        if e.endswith("="):
            e, eq = e[:-1], "="
        out.append("{" + expr_map(e, path) + eq + spec + "}")
        i = j + 1
    flush()
    return "".join(out)


FILE = {}


def per_file(name, path, prev):
    if prev == ".":
        return None
    return FILE.get(name)


def string_token(tok, path):
    m = re.match(r"(?s)^([rRbBfFuU]*)('''|\"\"\"|'|\")(.*)\2$", tok)
    if not m:
        return text_map(tok, path)
    pre, q, body = m.groups()
    if "f" in pre.lower():
        return pre + q + fstring(body, path) + q
    if body in EXACT_STR and not re.search(EVBUT, path):
        if body == "person":
            return tok
        if body in ("words", "word") and not WORDFILES.search(path):
            return tok
        return pre + q + EXACT_STR[body] + q
    if body == "person" and re.search(
        r"models/event|wordlines|catalogue/(words|eye|events|evidence|answers|aside|replay)|web/look|demo/words|findings/|tests/(findings|web/look|web/catalogue|support/(eventful|asked|canon|nonsense))|exchange/|pictures/people",
        path,
    ):
        return pre + q + "human" + q
    if body in ("ground", "look") and path.endswith("urls.py"):
        return pre + q + {"ground": "map", "look": "review"}[body] + q
    if re.fullmatch(r"(look|ground|keeping|bench|slip):[a-z_]+", body):
        ns, nm = body.split(":")
        ns = {"look": "review", "ground": "map", "keeping": "maintenance", "bench": "planner", "slip": "setup_sheet"}[
            ns
        ]
        nm = {"look": "review", "ground": "map"}.get(nm) or name_map(nm, path)
        return pre + q + ns + ":" + nm + q
    if re.fullmatch(r"[a-z_]+__[a-z_]+", body):
        return pre + q + name_map(body, path) + q
    return pre + q + plain_text(body, path) + q


# names of namespaces, templates, static files, urls in any text
PATHS = [
    (r"\b(look|ground|keeping|bench|slip):([a-z_]+)(?=['\" ])", "@"),
    (r"\blook:", "review:"),
    (r"\bground:", "map:"),
    (r"\bkeeping:", "maintenance:"),
    (r"\bbench:(?=[a-z_'\"{])", "planner:"),
    (r"\bslip:(?=[a-z_])", "setup_sheet:"),
    (r"trod/look_event\.html", "trod/review_sequence.html"),
    (r"trod/look\.(html|js|css)", r"trod/review.\1"),
    (r"trod/ground/", "trod/map/"),
    (r"trod/ground\.html", "trod/map.html"),
    (r"trod/keeping/", "trod/maintenance/"),
    (r"trod/keeping\.(css|js)", r"trod/maintenance.\1"),
    (r"maintenance/keeping\.html", "maintenance/maintenance.html"),
    (r"trod/bench/", "trod/planner/"),
    (r"trod/bench\.(css|js)", r"trod/planner.\1"),
    (r"planner/bench\.html", "planner/planner.html"),
    (r"trod/slip/slip\.html", "trod/setup_sheet/setup_sheet.html"),
    (r"trod/slip\.css", "trod/setup_sheet.css"),
    (r"cameras/watch(_bar)?\.html", r"cameras/clock\1.html"),
    (r"ribbons\.js", "timelines.js"),
    (r"cards_intake\.html", "cards_import.html"),
    (r"maintenance/(all_)?cells\.html", r"maintenance/\1batteries.html"),
    (r"maintenance/mishaps\.html", "maintenance/incidents.html"),
    (r"setup_slip\.typ", "setup_sheet.typ"),
    (r"(?:^|(?<=['\"/]))look/", "review/"),
    (r"(?:^|(?<=['\"/]))ground/(?!of)", "map/"),
    (r"(?:^|(?<=['\"/]))keeping/", "maintenance/"),
    (r"(?:^|(?<=['\"/]))bench/", "planner/"),
    (r"(?:^|(?<=['\"/]))slips/", "setup-sheets/"),
    (r"(?:^|(?<=['\"/]))packet/visits/", "fieldform/visits/"),
    (r"(?:^|(?<=/))watch/", "clock/"),
    (r"(?:^|(?<=['\"/]))mishaps/", "incidents/"),
    (r"(?:^|(?<=['\"/]))cells/", "batteries/"),
]
PATHS = [(re.compile(a), b) for a, b in PATHS]


def paths_in(s):
    for a, b in PATHS:
        if b == "@":

            def one(m):
                ns = {
                    "look": "review",
                    "ground": "map",
                    "keeping": "maintenance",
                    "bench": "planner",
                    "slip": "setup_sheet",
                }[m[1]]
                return (
                    ns + ":" + ({"look": "review", "ground": "map"}.get(m[2]) or name_map(m[2], "src/trod/web/x.py"))
                )

            s = a.sub(one, s)
        else:
            s = a.sub(b, s)
    return s


MODS = [
    (r"trod\.web\.look\b", "trod.web.review"),
    (r"trod\.web\.ground\b", "trod.web.map"),
    (r"trod\.web\.keeping\b", "trod.web.maintenance"),
    (r"trod\.web\.bench\b", "trod.web.planner"),
    (r"trod\.web\.slip\b", "trod.web.setup_sheet"),
    (r"trod\.web\.cameras\.watching\b", "trod.web.cameras.clock_views"),
    (r"trod\.watch\b", "trod.clock"),
    (r"trod\.web\.catalogue\.watch\b", "trod.web.catalogue.clocks"),
    (r"trod\.web\.catalogue\.words\b", "trod.web.catalogue.identifications"),
    (r"trod\.archive\.intake\b", "trod.archive.card_import"),
    (r"trod\.demo\.words\b", "trod.demo.identifications"),
]
MODS += [
    (r"trod\.Event\b", "trod.Sequence"),
    (r"trod\.Word\b", "trod.Identification"),
    (r"trod\.Intake\b", "trod.Import"),
    (r"trod\.Mishap\b", "trod.Incident"),
]
MODS = [(re.compile(a), b) for a, b in MODS]


def python(src, path):
    toks = list(tokenize.generate_tokens(io.StringIO(src).readline))
    lines = src.splitlines(keepends=True)
    edits = []
    FILE.clear()
    if re.search(r"^ *from trod import .*\bwatch\b", src, re.M):
        FILE["watch"] = "clock"
        src = re.sub(r"from trod\.web\.catalogue import watch as clocks", "from trod.web.catalogue import clocks", src)
        toks = list(tokenize.generate_tokens(io.StringIO(src).readline))
        lines = src.splitlines(keepends=True)
    if re.search(r"^ *from trod\.web\.catalogue import (?:\([^)]*|[^\n(]*)\bwatch\b", src, re.M):
        FILE["watch"] = "clocks"
    if re.search(r"^ *from trod\.web\.cameras import .*\bwatching\b", src, re.M):
        FILE["watching"] = "clock_views"
    if re.search(r"^ *from trod\.(web\.catalogue|demo) import (?:\([^)]*|[^\n(]*)\bwords\b", src, re.M):
        FILE["words"] = "identifications"
    if re.search(r"import watch as clocks", src):
        FILE["watch"] = "clock"
    if re.search(r"(^|/)archive/|benchmarks/(words|faulting)", path):
        FILE["WORDS"] = "IDENTIFICATIONS"
    if re.search(r"from trod\.archive\.sidecar import", src) or path.endswith("archive/sidecar.py"):
        FILE["WORDS"] = "IDENTIFICATIONS"
        FILE["Words"] = "Identifications"
    if re.search(r"\bbring_home\b", src):
        FILE["bring_home"] = "upload"
    if re.search(r"^ *from trod\.web\.keeping import .*\bcells\b", src, re.M):
        pass
    typing_seq = re.search(r"^from collections\.abc import .*\bSequence\b", src, re.M) or re.search(
        r"^    Sequence,$", src, re.M
    )
    has_model = re.search(r"\bEvent\b", src) and not re.search(EVBUT, path)
    for i, t in enumerate(toks):
        new = None
        if t.type == tokenize.NAME:
            prev = toks[i - 1].string if i else ""
            pp = toks[i - 2].string if i > 1 else ""
            if t.string == "Event" and prev == "." and pp in ("threading", "asyncio", "multiprocessing", "mp"):
                continue
            new = per_file(t.string, path, prev) or name_map(t.string, path)
            if t.string == "Sequence" and typing_seq and has_model:
                new = "abc.Sequence"
        elif t.type == tokenize.STRING:
            new = string_token(t.string, path)
        elif t.type == tokenize.COMMENT:
            new = plain_text(t.string, path)
        if new is not None and new != t.string:
            edits.append((t.start, t.end, new))
    out = []
    offs = [0]
    for l in lines:
        offs.append(offs[-1] + len(l))
    pos = 0
    for (sr, sc), (er, ec), new in edits:
        a = offs[sr - 1] + sc
        b = offs[er - 1] + ec
        out.append(src[pos:a])
        out.append(new)
        pos = b
    out.append(src[pos:])
    s = "".join(out)
    if typing_seq and has_model:
        s = re.sub(r"^from collections\.abc import ([^\n(]*)\n", lambda m: fix_abc(m), s, count=1, flags=re.M)
    for a, b in MODS:
        s = a.sub(b, s)
    return s


def fix_abc(m):
    names = [n.strip() for n in m[1].split(",")]
    rest = [n for n in names if n not in ("Sequence", "abc.Sequence")]
    return "from collections import abc\n" + (f"from collections.abc import {', '.join(rest)}\n" if rest else "")


def move(path):
    p = path
    for a, b in [
        (r"web/look/", "web/review/"),
        (r"web/ground/", "web/map/"),
        (r"web/keeping/", "web/maintenance/"),
        (r"web/bench/", "web/planner/"),
        (r"web/slip/", "web/setup_sheet/"),
        (r"templates/trod/look_event", "templates/trod/review_sequence"),
        (r"templates/trod/look\.", "templates/trod/review."),
        (r"static/trod/look\.", "static/trod/review."),
        (r"templates/trod/ground", "templates/trod/map"),
        (r"templates/trod/keeping/keeping", "templates/trod/maintenance/maintenance"),
        (r"templates/trod/keeping", "templates/trod/maintenance"),
        (r"static/trod/keeping", "static/trod/maintenance"),
        (r"templates/trod/bench/bench\.", "templates/trod/planner/planner."),
        (r"templates/trod/bench", "templates/trod/planner"),
        (r"static/trod/bench", "static/trod/planner"),
        (r"templates/trod/slip/slip", "templates/trod/setup_sheet/setup_sheet"),
        (r"static/trod/slip", "static/trod/setup_sheet"),
        (r"cameras/watch(_bar)?\.html", r"cameras/clock\1.html"),
        (r"static/trod/ribbons", "static/trod/timelines"),
        (r"cards_intake", "cards_import"),
        (r"(all_)?cells\.html", r"\1batteries.html"),
        (r"mishaps\.html", "incidents.html"),
        (r"setup_slip", "setup_sheet"),
        (r"slip_code", "setup_code"),
        (r"report/packet/", "report/field_form/"),
        (r"commands/packet\.py", "commands/fieldform.py"),
        (r"docs/packet\.md", "docs/fieldform.md"),
        (r"archive/(test_)?intake\.py", r"archive/\1card_import.py"),
        (r"archive/(test_)?keeping\.py", r"archive/\1earlier.py"),
        (r"demo/words\.py", "demo/identifications.py"),
        (r"findings/(test_)?passages", r"findings/\1detections"),
        (r"findings/(test_)?sightings", r"findings/\1observations"),
        (r"pictures/(test_)?events", r"pictures/\1sequences"),
        (r"planning/(test_)?cells", r"planning/\1batteries"),
        (r"planning/(test_)?dials", r"planning/\1inputs"),
        (r"(planning|commands)/(test_)?keeping", r"\1/\2maintenance"),
        (r"trod/watch\.py", "trod/clock.py"),
        (r"tests/test_watch", "tests/test_clock"),
        (r"cameras/watching\.py", "cameras/clock_views.py"),
        (r"cameras/test_watching", "cameras/test_clock"),
        (r"catalogue/(test_)?take_in", r"catalogue/\1import_card"),
        (r"catalogue/bring_home", "catalogue/upload"),
        (r"catalogue/demo_keeping", "catalogue/demo_maintenance"),
        (r"catalogue/(test_)?events", r"catalogue/\1sequences"),
        (r"catalogue/hunger", "catalogue/power_draw"),
        (r"catalogue/(test_)?watch\.py", r"catalogue/\1clocks.py"),
        (r"catalogue/wordlines", "catalogue/identification_lines"),
        (r"catalogue/(test_)?words", r"catalogue/\1identifications"),
        (r"maintenance/cell_views", "maintenance/battery_views"),
        (r"maintenance/cells", "maintenance/batteries"),
        (r"maintenance/(test_)?mishap", r"maintenance/\1incident"),
        (r"models/event", "models/sequence"),
        (r"models/keeping", "models/maintenance"),
        (r"today/(test_)?ribbons", r"today/\1timelines"),
        (r"browser/test_bench", "browser/test_planner"),
        (r"browser/test_look", "browser/test_review"),
        (r"browser/test_keeping", "browser/test_maintenance"),
        (r"browser/test_slip", "browser/test_setup_sheet"),
        (r"support/eventful", "support/sequenced"),
        (r"benchmarks/bench\.", "benchmarks/planner."),
        (r"benchmarks/look\.", "benchmarks/review."),
        (r"test_truth_and_words", "test_truth_and_identifications"),
        (r"docs/pictures/ground", "docs/pictures/map"),
        (r"docs/pictures/look", "docs/pictures/review"),
        (r"docs/pictures/bench", "docs/pictures/planner"),
    ]:
        p = re.sub(a, b, p)
    return p


JSKEEP = re.compile(r"\bevents?\b|\bEvents?\b")
FIXES = [
    ("src/trod/web/models/sequence.py", r'related_name="words"', 'related_name="identifications"'),
    (
        "src/trod/web/models/maintenance.py",
        r"max_length=8, choices=Kind, default=Kind.BATTERIES",
        "max_length=12, choices=Kind, default=Kind.BATTERIES",
    ),
    ("src/trod/web/models/maintenance.py", r"run of false triggers, snow, water", "storm, snow, water"),
    ("src/trod/web/models/reserve.py", r"fence gap or detection", "fence gap or passage"),
    (
        "src/trod/web/cameras/clock_views.py",
        r"from trod\.web\.catalogue import clock as clocks",
        "from trod.web.catalogue import clocks",
    ),
    (
        "src/trod/findings/activity.py",
        r"    clock = localtime.clock_hours\(np.array\(\[rise",
        "    hours = localtime.clock_hours(np.array([rise",
    ),
    ("src/trod/findings/activity.py", r"float\(clock\[0\]\), float\(clock\[1\]\)", "float(hours[0]), float(hours[1])"),
    (
        "src/trod/web/setup_sheet/views.py",
        r"from trod\.report import setup_sheet, setup_code",
        "from trod.report import setup_code\nfrom trod.report import setup_sheet as sheets",
    ),
    ("src/trod/web/setup_sheet/views.py", r"(?<![\w.])setup_sheet\.(?=[A-Za-z_])", "sheets."),
    (
        "tests/report/test_setup_sheet.py",
        r"from trod\.report import setup_sheet, setup_code",
        "from trod.report import setup_code\nfrom trod.report import setup_sheet as sheets",
    ),
    ("tests/report/test_setup_sheet.py", r"(?<![\w.])setup_sheet\.(?=[A-Za-z_])", "sheets."),
]


def html(src, path):
    """Text as prose; inside template tags, names as names and strings as strings."""
    out = []
    for part in re.split(r"(\{%.*?%\}|\{\{.*?\}\})", src, flags=re.S):
        if not part.startswith(("{%", "{{")):
            out.append(plain_text(part, path))
            continue
        bits = re.split(r"""("[^"]*"|'[^']*')""", part)
        for i, bit in enumerate(bits):
            if bit[:1] in "\"'" and bit:
                body = bit[1:-1]
                bits[i] = string_token(bit, path) if body else bit
            else:
                bits[i] = re.sub(r"[A-Za-z_]\w*", lambda m: name_map(m[0], path), bit)
        out.append("".join(bits))
    return "".join(out)


def main():
    for f in files:
        p = ROOT / f
        if (
            f.startswith(("LICENSE", "CHANGELOG", "requirements/", "design/"))
            or "/migrations/0" in f
            or f == "docs/glossary.md"
            or f.startswith("changelog.d/")
        ):
            continue
        ext = p.suffix
        if ext in (".jpg", ".png", ".csv", ".txt", ".in", ".ttf"):
            pass
        else:
            try:
                src = p.read_text("utf-8")
            except UnicodeDecodeError:
                continue
            if ext == ".py":
                try:
                    new = python(src, f)
                except Exception as e:
                    print("PY", f, e)
                    continue
            elif ext in (".js",):
                new = paths_in(src)
                new = re.sub(r"\b(event)(_id)\b", "sequence_id", new)
            elif ext == ".html" and "templates/" in f:
                new = html(src, f)
            elif ext in (".html", ".typ", ".toml", ".sh", ".md") or f in (
                ".ci/run",
                "scripts/screens",
                "scripts/check",
                "start.py",
            ):
                new = plain_text(src, f)
            elif ext == ".css":
                new = src
            else:
                continue
            if new != src:
                p.write_text(new, "utf-8")
    for f in files:
        t = move(f)
        if t != f:
            (ROOT / t).parent.mkdir(parents=True, exist_ok=True)
            sh("git", "mv", f, t)
    for f, a, b in FIXES:
        p = ROOT / f
        if p.exists():
            p.write_text(re.sub(a, b, p.read_text()))


if __name__ == "__main__":
    main()
