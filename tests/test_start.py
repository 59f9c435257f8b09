"""start.py: from a bare Python to a running Trod, whatever the folder is called and whatever went before."""

from __future__ import annotations

import ast
import importlib.util
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest

ROOT = Path(__file__).resolve().parents[1]
ON_WINDOWS = os.name == "nt"
OLD_PYTHONS = ("python2.7", "python3.6", "python3.7", "python3.8", "python3.9", "python3.10")


@pytest.fixture
def start() -> ModuleType:
    """start.py as a module, fresh for each test."""
    spec = importlib.util.spec_from_file_location("start_under_test", ROOT / "start.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A folder with lock files as in a checkout, under a name with blanks and accents."""
    here = tmp_path / "Hütte am Moor, año 1"
    (here / "requirements").mkdir(parents=True)
    for name in ("core", "dev", "built"):
        (here / "requirements" / f"{name}.txt").write_text(f"{name}==1\n")
    return here


@pytest.fixture
def pretend(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """venv and pip played by the test: what was made and installed is kept; `fail` breaks pip off."""
    seen = SimpleNamespace(made=0, installed=[], fail=None)

    def make(env_dir: str, environ: dict[str, str]) -> None:
        seen.made += 1
        env = Path(env_dir)
        env.mkdir()
        (env / start.MARK).touch()
        (env / "python").touch()

    def install(here: str, env_dir: str, kind: str, environ: dict[str, str]) -> None:
        if seen.fail:
            (Path(env_dir) / "half").touch()
            raise seen.fail
        seen.installed.append(kind)

    monkeypatch.setattr(start, "make_environment", make)
    monkeypatch.setattr(start, "pip_install", install)
    monkeypatch.setattr(start, "python_answers", lambda env: "3.11" if (Path(env) / "python").exists() else "")
    return seen


# An old or bare Python


def test_the_file_can_be_read_by_a_python_too_old_for_trod() -> None:
    source = (ROOT / "start.py").read_text("ascii")  # Python 2 refuses other letters without a declaration

    tree = ast.parse(source, feature_version=(3, 4))
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.JoinedStr | ast.AnnAssign | ast.NamedExpr)]
    assert not [n for n in ast.walk(tree) if isinstance(n, ast.Raise) and n.cause]
    assert not [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and (n.returns or n.args.kwonlyargs)]


def test_an_old_python_is_told_which_one_is_needed() -> None:
    tried = []
    for name in OLD_PYTHONS:
        try:
            if subprocess.run([name, "-c", "print(1)"], capture_output=True).returncode != 0:
                continue
        except OSError:
            continue
        tried.append(name)
        done = subprocess.run([name, str(ROOT / "start.py"), "demo"], capture_output=True, text=True)
        version = name.removeprefix("python")

        assert done.returncode == 1
        assert f"Trod needs Python 3.11 or newer; this is Python {version} (" in done.stderr
        assert "Traceback" not in done.stderr
    if not tried:
        pytest.skip("no Python older than 3.11 on this machine to try it with")


def test_the_word_on_an_old_python_names_both_versions(start: ModuleType) -> None:
    start.check_python((3, 11, 0))
    start.check_python((4, 0, 0))
    with pytest.raises(start.Trouble) as trouble:
        start.check_python((3, 10, 13, "final", 0))

    assert str(trouble.value) == (
        f"Trod needs Python 3.11 or newer; this is Python 3.10 ({sys.executable}).\n"
        "Install a newer one from your system's packages or from the Python web site, then for example:\n"
        "    python3.11 start.py demo"
    )


def test_debian_without_its_venv_package_is_told_the_packages_name(start: ModuleType) -> None:
    def find(name: str) -> None:
        if name == "ensurepip":
            raise ImportError(name)

    with pytest.raises(start.Trouble) as trouble:
        start.check_modules(find, debian=True)
    package = f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"
    assert str(trouble.value) == (
        f"This Python ({sys.executable}) lacks its module 'ensurepip', which makes virtual environments.\n"
        f"Install it, then run the same command again:\n    sudo apt install {package}"
    )

    with pytest.raises(start.Trouble, match="Install your system's package for Python's venv and pip"):
        start.check_modules(find, debian=False)


def test_a_folder_no_environment_can_live_in_is_told(start: ModuleType) -> None:
    start.check_place("some folder")
    with pytest.raises(start.Trouble, match="Move or rename the folder"):
        start.check_place(f"a{os.pathsep}b")


# Words


def test_help_is_given_and_no_word_at_all_is_a_wrong_one(start: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    assert start.main(["--help"], {}) == 0
    assert "python3 start.py demo" in capsys.readouterr().out
    assert start.main([], {}) == 2


def test_a_wrong_word_after_wheels_is_told(start: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    assert start.main(["wheels", "cart", "axle"], {}) == 1
    assert "wheels takes no word after it, or the word test; got: cart axle" in capsys.readouterr().err


def test_test_runs_pytest_and_all_other_words_go_to_trod(
    start: ModuleType, checkout: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kinds: list[str] = []
    runs: list[tuple[list[str], str | None]] = []
    monkeypatch.setattr(start, "ready", lambda here, kind, environ: kinds.append(kind) or "py")
    monkeypatch.setattr(start, "run", lambda words, environ, cwd=None: runs.append((words, cwd)) or 0)

    start.main(["test", "-k", "ford"], {}, str(checkout))
    start.main(["card", "a card", "--json"], {}, str(checkout))

    assert kinds == ["dev", "core"]
    assert runs == [
        (["py", "-m", "pytest", "-k", "ford"], str(checkout)),
        (["py", "-P", "-m", "trod", "card", "a card", "--json"], None),
    ]


# The set-up


def test_the_set_up_is_done_once(start: ModuleType, checkout: Path, pretend: SimpleNamespace) -> None:
    for _ in range(3):
        start.ready(str(checkout), "core", {})

    assert (pretend.made, pretend.installed) == (1, ["core"])


def test_the_tests_packages_come_on_top_and_serve_for_running_too(
    start: ModuleType, checkout: Path, pretend: SimpleNamespace
) -> None:
    for kind in ("core", "dev", "core", "dev"):
        start.ready(str(checkout), kind, {})

    assert (pretend.made, pretend.installed) == (1, ["core", "dev"])


@pytest.mark.parametrize("lock", ["dev", "built"])
def test_a_new_lock_file_makes_the_environment_anew(
    start: ModuleType, checkout: Path, pretend: SimpleNamespace, lock: str
) -> None:
    start.ready(str(checkout), "dev", {})
    (checkout / ".venv" / "package that is no longer wanted").touch()
    (checkout / "requirements" / f"{lock}.txt").write_text("other==2\n")
    (checkout / "requirements" / "core.txt").write_text("core==2\n")
    start.ready(str(checkout), "dev", {})

    assert (pretend.made, pretend.installed) == (2, ["dev", "dev"])
    assert not (checkout / ".venv" / "package that is no longer wanted").exists()


@pytest.mark.parametrize("broken", [KeyboardInterrupt(), OSError(28, "No space left on device")])
def test_a_set_up_that_was_broken_off_is_made_anew(
    start: ModuleType, checkout: Path, pretend: SimpleNamespace, broken: BaseException
) -> None:
    pretend.fail = broken
    with pytest.raises(type(broken)):
        start.ready(str(checkout), "core", {})
    assert (checkout / ".venv" / "half").exists()
    pretend.fail = None
    start.ready(str(checkout), "core", {})

    assert (pretend.made, pretend.installed) == (2, ["core"])
    assert not (checkout / ".venv" / "half").exists()


def test_packages_for_the_tests_that_were_broken_off_leave_no_stamp(
    start: ModuleType, checkout: Path, pretend: SimpleNamespace
) -> None:
    start.ready(str(checkout), "core", {})
    pretend.fail = KeyboardInterrupt()
    with pytest.raises(KeyboardInterrupt):
        start.ready(str(checkout), "dev", {})

    assert start.read_stamp(str(checkout / ".venv")) == []


def test_an_environment_whose_python_is_gone_is_made_anew(
    start: ModuleType, checkout: Path, pretend: SimpleNamespace
) -> None:
    start.ready(str(checkout), "core", {})
    (checkout / ".venv" / "python").unlink()
    start.ready(str(checkout), "core", {})

    assert pretend.made == 2


def test_a_folder_that_is_not_ours_is_set_aside_not_deleted(
    start: ModuleType, checkout: Path, pretend: SimpleNamespace
) -> None:
    (checkout / ".venv").mkdir()
    (checkout / ".venv" / "somebody's work").write_text("kept")
    start.ready(str(checkout), "core", {})

    assert (checkout / ".venv-set-aside-1" / "somebody's work").read_text() == "kept"
    assert pretend.installed == ["core"]


def test_a_developers_own_environment_is_used_and_kept(
    start: ModuleType, checkout: Path, pretend: SimpleNamespace
) -> None:
    (checkout / ".venv").mkdir()
    (checkout / ".venv" / "python").touch()
    start.ready(str(checkout), "dev", {})

    assert (pretend.made, pretend.installed) == (0, ["dev"])


def test_a_checkout_without_its_lock_files_is_told(
    start: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str], pretend: SimpleNamespace
) -> None:
    assert start.main(["demo"], {}, str(tmp_path)) == 1
    told = capsys.readouterr().err
    assert "The checkout is not whole; fetch it again." in told
    assert "Traceback" not in told


def test_the_line_ends_of_a_lock_file_do_not_matter(start: ModuleType, checkout: Path) -> None:
    before = start.fingerprint(str(checkout), "dev")
    lock = checkout / "requirements" / "dev.txt"
    lock.write_bytes(lock.read_bytes().replace(b"\n", b"\r\n"))
    assert start.fingerprint(str(checkout), "dev") == before
    lock.write_bytes(b"dev==2\n")
    assert start.fingerprint(str(checkout), "dev") != before


def test_a_second_start_waits_for_the_first(
    start: ModuleType, checkout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    order = []

    def second() -> None:
        with start.OneAtATime(str(checkout)):
            order.append("second")

    with start.OneAtATime(str(checkout)):
        thread = threading.Thread(target=second)
        thread.start()
        time.sleep(0.3)
        order.append("first")
    thread.join(10)

    assert order == ["first", "second"]
    assert "Another start.py is setting up this folder" in capsys.readouterr().err


# pip and the environment


def test_the_persons_pip_settings_count_except_those_that_say_where_to(start: ModuleType) -> None:
    given = {"PIP_INDEX_URL": "i", "PIP_CERT": "c", "HTTPS_PROXY": "p", "PIP_TARGET": "t", "PIP_USER": "1"}

    assert start.clean_environment(given) == {"PIP_INDEX_URL": "i", "PIP_CERT": "c", "HTTPS_PROXY": "p"}


@pytest.fixture
def pip_calls(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """quiet_call played by the test: the commands are kept, `answers` gives their exit statuses (then 0)."""
    seen = SimpleNamespace(words=[], answers=[])

    def call(words: list[str], environ: dict[str, str]) -> int:
        seen.words.append(words)
        return seen.answers.pop(0) if seen.answers else 0

    monkeypatch.setattr(start, "quiet_call", call)
    return seen


def test_packages_are_installed_by_hash_and_never_built(
    start: ModuleType, checkout: Path, pip_calls: SimpleNamespace
) -> None:
    start.pip_install(str(checkout), "env", "core", {})

    (words,) = pip_calls.words
    assert "--require-hashes" in words
    assert words[words.index("--only-binary") + 1] == ":all:"
    assert words[-2:] == ["-r", str(checkout / "requirements" / "core.txt")]


def test_a_wheels_folder_beside_needs_no_network(start: ModuleType, checkout: Path, pip_calls: SimpleNamespace) -> None:
    (checkout / "wheels").mkdir()
    (checkout / "wheels" / "a-1-py3-none-any.whl").touch()
    start.pip_install(str(checkout), "env", "core", {})

    (words,) = pip_calls.words
    assert "--no-index" in words
    assert words[words.index("--find-links") + 1] == str(checkout / "wheels")


def test_a_wheels_folder_that_lacks_something_is_told_and_the_network_asked(
    start: ModuleType, checkout: Path, pip_calls: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    (checkout / "wheels").mkdir()
    (checkout / "wheels" / "a-1-py3-none-any.whl").touch()
    pip_calls.answers = [1]
    start.pip_install(str(checkout), "env", "core", {})

    first, second = pip_calls.words
    assert "--no-index" in first and "--no-index" not in second
    assert "wheels/ lacks something that is needed here" in capsys.readouterr().err


def test_an_empty_wheels_folder_is_passed_over(start: ModuleType, checkout: Path) -> None:
    (checkout / "wheels").mkdir()

    assert start.wheels_beside(str(checkout)) == ""


def test_when_pip_fails_the_person_is_told_what_can_be_done(
    start: ModuleType, checkout: Path, pip_calls: SimpleNamespace
) -> None:
    pip_calls.answers = [1]
    with pytest.raises(start.Trouble) as trouble:
        start.pip_install(str(checkout), "env", "core", {})

    told = str(trouble.value)
    assert told.startswith("pip could not install the packages of requirements/core.txt; its own words stand above.")
    for word in (
        "HTTPS_PROXY",
        "start.py wheels",
        "No matching distribution",
        "GB are free",
        "same command again",
    ):
        assert word in told


# Running


def test_the_exit_status_of_what_is_run_comes_back(start: ModuleType) -> None:
    assert start.run([sys.executable, "-c", "raise SystemExit(7)"], dict(os.environ)) == 7


@pytest.mark.skipif(ON_WINDOWS, reason="signals end processes on POSIX systems alone")
def test_an_end_by_signal_comes_back_as_shells_tell_it(start: ModuleType) -> None:
    code = "import os, signal; os.kill(os.getpid(), signal.SIGKILL)"

    assert start.run([sys.executable, "-c", code], dict(os.environ)) == 128 + signal.SIGKILL


def test_trod_is_run_from_the_source_beside_start_py(start: ModuleType, checkout: Path) -> None:
    given = {"PYTHONPATH": "mine", "PYTHONHOME": "astray", "PIP_TARGET": "not our business here"}
    environ = start.trod_environment(str(checkout), given)

    assert environ["PYTHONPATH"] == f"{checkout / 'src'}{os.pathsep}mine"
    assert environ["PYTHONUTF8"] == "1"
    assert "PYTHONHOME" not in environ


# For real


def run_start(here: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """start.py run by the Python below this test's own virtual environment, as a person would."""
    python = getattr(sys, "_base_executable", sys.executable)
    environ = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "VIRTUAL_ENV")}
    environ["TROD_HOME"] = str(here.parent / "home")
    return subprocess.run(
        [python, str(here / "start.py"), *words],
        cwd=here.parent,
        env=environ,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=900,
    )


@pytest.mark.long
@pytest.mark.skipif(ON_WINDOWS, reason="kills a process group, which Windows does not have")
def test_from_nothing_killed_half_way_and_again_in_a_folder_with_blanks_and_accents(tmp_path: Path) -> None:
    here = tmp_path / "Hütte am Moor, año 1" / "trod é"
    here.mkdir(parents=True)
    shutil.copy(ROOT / "start.py", here)
    ignore = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "requirements", here / "requirements")
    shutil.copytree(ROOT / "src", here / "src", ignore=ignore)
    if (ROOT / "wheels").is_dir():
        (here / "wheels").symlink_to(ROOT / "wheels")
    python = getattr(sys, "_base_executable", sys.executable)

    first = subprocess.Popen(
        [python, "start.py", "--version"],
        cwd=here,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    # Kill it as soon as the first package of ours lands in the environment.
    deadline = time.monotonic() + 600
    while not list(here.glob(".venv/lib/python*/site-packages/numpy")):
        assert first.poll() is None, "the set-up ended before it could be killed"
        assert time.monotonic() < deadline
        time.sleep(0.02)
    os.killpg(first.pid, signal.SIGKILL)
    first.wait()
    assert not (here / ".venv" / "installed.txt").exists()

    second = run_start(here, "--version")
    assert second.returncode == 0, second.stderr
    assert "making it again" in second.stderr
    assert second.stdout.startswith("trod, version ")
    assert len(second.stdout.splitlines()) == 1  # pip's talk is on standard error: --json stays clean

    third = run_start(here, "--version")
    assert (third.returncode, third.stderr) == (0, "")

    wrong = run_start(here, "frobnicate")
    assert wrong.returncode == 2
    assert "No such command 'frobnicate'" in wrong.stderr


@pytest.mark.long
def test_a_plain_pip_install_in_a_fresh_environment_gives_the_command_trod(tmp_path: Path) -> None:
    env = tmp_path / "an env"
    subprocess.run([sys.executable, "-m", "venv", str(env)], check=True)
    bin_dir = env / ("Scripts" if ON_WINDOWS else "bin")
    environ = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    source = tmp_path / "source"
    source.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    shutil.copytree(ROOT / "src", source / "src", ignore=shutil.ignore_patterns("__pycache__"))

    done = subprocess.run(
        [bin_dir / "python", "-m", "pip", "install", "--quiet", "--disable-pip-version-check", str(source)],
        env=environ,
        capture_output=True,
        text=True,
        timeout=900,
    )
    assert done.returncode == 0, done.stderr

    def trod(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run([bin_dir / "trod", *words], env=environ, cwd=tmp_path, capture_output=True, text=True)

    assert trod("--version").stdout.startswith("trod, version ")
    helped = trod("--help")
    assert helped.returncode == 0, helped.stderr
    assert "card" in helped.stdout and "Exit statuses" in helped.stdout
    # What is not Python must be in the wheel too: templates, styles, scripts.
    code = (
        "import pathlib, trod; here = pathlib.Path(trod.__file__).parent;"
        "print(sorted({p.suffix for p in here.rglob('*') if p.is_file()} - {'.pyc'}))"
    )
    packed = subprocess.run([bin_dir / "python", "-c", code], cwd=tmp_path, capture_output=True, text=True).stdout
    here = {p.suffix for p in (ROOT / "src" / "trod").rglob("*") if p.is_file() and "__pycache__" not in p.parts}
    assert packed.strip() == str(sorted(here))
