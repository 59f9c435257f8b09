"""The pages' scripts: their own unit tests, their linter, and that they keep to what plain scripts may."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path

import pytest
from absence import absent, need

ROOT = Path(__file__).resolve().parents[1]
UNITS = sorted((ROOT / "tests" / "scripts").glob("*.test.js"))
SCRIPTS = sorted((ROOT / "src").rglob("*.js"))


def run_here(*words: str) -> str:
    """Run a program at the checkout's top; fail with its own words unless it ends well."""
    done = subprocess.run(
        words, cwd=ROOT, stdin=subprocess.DEVNULL, capture_output=True, text=True, encoding="utf-8", timeout=120
    )
    said = done.stdout + done.stderr
    if done.returncode:
        pytest.fail(said, pytrace=False)
    return said


@pytest.mark.parametrize("path", UNITS, ids=lambda path: path.name.removesuffix(".test.js"))
def test_the_logic_of_the_pages_scripts(path: Path) -> None:
    node = need("node", package="nodejs")

    said = run_here(node, "--test", "--test-reporter=tap", str(path))

    passed = re.search(r"^# pass (\d+)$", said, flags=re.M)
    assert passed and int(passed[1]) > 0, said


def test_the_pages_scripts_please_their_linter() -> None:
    node, linter = need("node", package="nodejs"), ROOT / "node_modules" / "eslint" / "bin" / "eslint.js"
    if not linter.exists():
        absent("ESLint", "In the checkout: npm ci")

    run_here(node, str(linter), "--max-warnings", "0", ".")


def test_the_scripts_lock_file_pins_every_package_and_carries_no_address() -> None:
    lock = json.loads((ROOT / "package-lock.json").read_text("utf-8"))
    asked = json.loads((ROOT / "package.json").read_text("utf-8"))
    packages = {name: told for name, told in lock["packages"].items() if name}

    assert packages and lock["packages"][""]["devDependencies"] == asked["devDependencies"]
    assert [name for name, told in packages.items() if "resolved" in told] == []
    assert [name for name, told in packages.items() if not told["integrity"].startswith("sha512-")] == []
    assert [name for name, told in packages.items() if not re.fullmatch(r"\d[\w.+-]*", told["version"])] == []
    # To test alone: nothing of it runs, or is served, where Trod runs.
    assert [name for name, told in packages.items() if not told.get("dev")] == []
    assert "dependencies" not in asked


def test_an_id_is_made_in_one_place() -> None:
    makers = [
        path.name
        for path in SCRIPTS
        if re.search(r"randomUUID\s*\(|getRandomValues|Math\.random", path.read_text("utf-8"))
    ]

    assert makers == ["new_id.js"]
