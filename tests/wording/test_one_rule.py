"""Days, counts and shares are worded in `trod.wording` alone; a module with a rule of its own is told here."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

SOURCE = Path(__file__).resolve().parents[2] / "src"

# What an own rule looks like.
MONTH_OR_DAY_NAMES = re.compile(r"%-?[aAbBc]\b|import .*\b(month|day)_(name|abbr)\b")
OWN_NAMES = re.compile(r"""["'](January|Jan|Monday|Mon)["']""")
OWN_PLURAL = re.compile(
    r"""(''|"") if [^\n]{1,40}? == 1 else ['"]s['"]|['"]s['"] if [^\n]{1,40}? != 1 else (''|"")"""
    r"""|\bone if \w+ == 1 else\b"""
)
OWN_SHARE = re.compile(r":\.\d%\}|\{(round\()?100 \* [^{}\n]*\} ?%")
OWN_LIST = re.compile(r"""" and "\.join\(filter""")
RULES = {
    "names of months or days": MONTH_OR_DAY_NAMES,
    "a list of months or days": OWN_NAMES,
    "a plural": OWN_PLURAL,
    "a share": OWN_SHARE,
    "a list of names": OWN_LIST,
}
# Where it must be: (module, rule) and why.
MAY = {
    ("trod/web/cameras/power_chart.py", "names of months or days"): "a format of the drawing library, in the browser",
    ("trod/web/forms/seasons.py", "a list of months or days"): "reads what a person typed",
    ("trod/archive/verdict.py", "a plural"): "whole sentences for one and for many",
}
# A page of ours says its days by our filters; the machine's form is for inputs.
TEMPLATE_DATE = re.compile(r"""\|(date|time):["'](?!Y-m-d["']|c["'])""")
TEMPLATE_PLURAL = re.compile(r"\w\{\{ ?[\w.|]+\|pluralize ?\}\}")


def modules() -> list[Path]:
    return [p for p in sorted(SOURCE.rglob("*.py")) if "migrations" not in p.parts and "wording" not in p.parts]


@pytest.mark.parametrize("rule", RULES)
def test_no_module_has_an_own_rule(rule: str) -> None:
    found = []
    for path in modules():
        name = path.relative_to(SOURCE).as_posix()
        if (name, rule) in MAY:
            continue
        lines = path.read_text("utf-8").splitlines()
        found += [f"{name}:{n}: {line.strip()}" for n, line in enumerate(lines, 1) if RULES[rule].search(line)]
    assert found == [], f"{rule} is worded in trod.wording"


def test_what_may_stand_still_stands() -> None:
    for name, rule in MAY:
        assert RULES[rule].search((SOURCE / name).read_text("utf-8")), f"{name} has no own rule for {rule} any more"


def test_no_page_words_a_day_or_a_count_by_the_frameworks_rule() -> None:
    found = []
    for path in sorted(SOURCE.rglob("*.html")):
        for n, line in enumerate(path.read_text("utf-8").splitlines(), 1):
            if TEMPLATE_DATE.search(line) or TEMPLATE_PLURAL.search(line):
                found.append(f"{path.relative_to(SOURCE)}:{n}")
    assert found == []


@pytest.mark.parametrize(
    ("rule", "line"),
    [
        ("names of months or days", 'f"{day.day} {day:%B %Y}"'),
        ("names of months or days", "from calendar import month_name"),
        ("a list of months or days", 'M = ("January", "February")'),
        ("a plural", """f"{n} site{'' if n == 1 else 's'}\""""),
        ("a plural", """f"{n} site{'s' if n != 1 else ''}\""""),
        ("a share", 'f"{x:.0%}"'),
        ("a share", 'f"{100 * x:.0f} %"'),
        ("a list of names", '" and ".join(filter(None, names))'),
    ],
)
def test_an_own_rule_is_found(rule: str, line: str) -> None:
    assert RULES[rule].search(line)
