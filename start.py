"""Set up Trod beside this file and run it.

    python3 start.py demo             build the demo reserve and open it in the browser
    python3 start.py test             run all tests; words after it go to pytest
    python3 start.py wheels           fill the folder wheels/ for a machine without network
    python3 start.py wheels test      the same, with what the tests need
    python3 start.py VERB ...         any other words go to trod, for example: serve, card PATH, --help

The first run makes the folder .venv and installs the pinned packages into it; later runs start at once.
Needs Python 3.11 or newer with venv and pip, nothing else. On Windows: py start.py demo
"""
# This file must say a plain sentence on an old Python too, so its syntax stays that of Python 2.7:
# no f-strings, no annotations, no pathlib, no `raise ... from`, plain ASCII.
# (The linter's newer habits are switched off for this file in pyproject.toml.)

import hashlib
import os
import shutil
import signal
import subprocess
import sys

OLDEST = (3, 11)
HERE = os.path.dirname(os.path.abspath(__file__))
ON_WINDOWS = os.name == "nt"

MARK = "made-by-start.txt"  # in .venv: we made this folder, so we may delete it
STAMP = "installed.txt"  # in .venv: written last; tells what is wholly installed

# pip settings that say where to install. All others of the user's (index, proxy, certificate, ...) count.
PLACES = ("PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PIP_USER", "PIP_DRY_RUN")
# Settings of the outer Python that would mislead the one in .venv.
OUTER = ("PYTHONHOME", "__PYVENV_LAUNCHER__")


class Trouble(Exception):
    """The set-up cannot go on; the text says why and what to do."""


def say(text):
    """Tell the person; on standard error, so that `--json` output stays clean."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


def check_python(version):
    """Raise Trouble unless `version`, like sys.version_info, is new enough."""
    if tuple(version[:2]) < OLDEST:
        raise Trouble(
            "Trod needs Python %d.%d or newer; this is Python %d.%d (%s).\n"
            "Install a newer one from your system's packages or from the Python web site, then for example:\n"
            "    python3.11 start.py demo" % (OLDEST + tuple(version[:2]) + (sys.executable,))
        )


def check_modules(find, debian):
    """Raise Trouble if this Python came without venv or ensurepip.

    find : a function that imports a module by its name. debian : whether this is Debian or a child of it.
    """
    for name in ("venv", "ensurepip"):
        try:
            find(name)
        except ImportError:
            text = "This Python (%s) lacks its module '%s', which makes virtual environments.\n" % (
                sys.executable,
                name,
            )
            if debian:
                package = "python%d.%d-venv" % tuple(sys.version_info[:2])
                text += "Install it, then run the same command again:\n    sudo apt install " + package
            else:
                text += "Install your system's package for Python's venv and pip,\n"
                text += "then run the same command again."
            raise Trouble(text)


def check_place(here):
    """Raise Trouble if no virtual environment can live in the folder `here`."""
    if os.pathsep in here:
        raise Trouble(
            "The folder's name has a '%s' in it, and Python cannot use a virtual environment there:\n    %s\n"
            "Move or rename the folder, then run the same command again." % (os.pathsep, here)
        )


def python_of(env_dir):
    """The path of the Python inside a virtual environment."""
    return os.path.join(env_dir, *(("Scripts", "python.exe") if ON_WINDOWS else ("bin", "python")))


def python_answers(env_dir):
    """The version of the Python inside, like "3.11", or "" if it does not run."""
    code = "import sys, pip; print('%d.%d' % sys.version_info[:2])"
    try:
        done = subprocess.run(
            [python_of(env_dir), "-I", "-c", code],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=60,
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout.decode("ascii", "replace").strip() if done.returncode == 0 else ""


def steps_of(kind):
    """How "core" (to run) or "dev" (to run and test) is installed: lock files and pip's options for each.

    All packages come as wheels, so that nothing is built and no package's own code runs while it is
    installed. One test package is published as source alone; it is built last, with tools from dev.txt.
    """
    wheels_only = ["--only-binary", ":all:"]
    if kind == "core":
        return [("core.txt", wheels_only)]
    return [
        ("dev.txt", wheels_only),
        ("built.txt", ["--no-deps", "--no-binary", ":all:", "--no-build-isolation"]),
    ]


def lock_path(here, name):
    """The path of a lock file."""
    return os.path.join(here, "requirements", name)


def fingerprint(here, kind):
    """The SHA-256 of what `kind` installs, whichever line ends the checkout has given the lock files."""
    digest = hashlib.sha256()
    for name, _ in steps_of(kind):
        path = lock_path(here, name)
        try:
            with open(path, "rb") as f:
                digest.update(f.read().replace(b"\r\n", b"\n"))
        except OSError as error:
            raise Trouble("Cannot read %s (%s).\nThe checkout is not whole; fetch it again." % (path, error))
    return digest.hexdigest()


def stamp_line(here, kind, version):
    """The line that stands in the stamp when `kind` is wholly installed for Python `version`."""
    return "%s %s python%s" % (kind, fingerprint(here, kind), version)


def read_stamp(env_dir):
    """The lines of the stamp; none if there is no stamp."""
    try:
        with open(os.path.join(env_dir, STAMP)) as f:
            return f.read().splitlines()
    except OSError:
        return []


def write_stamp(env_dir, lines):
    """Write the stamp in one step, so that it is never half there."""
    part = os.path.join(env_dir, STAMP + ".part")
    with open(part, "w") as f:
        f.write("\n".join(lines) + "\n")
        f.flush()
        os.fsync(f.fileno())
    os.replace(part, os.path.join(env_dir, STAMP))


def clean_environment(environ):
    """A copy of the environment without what would send packages or Python elsewhere."""
    return {name: value for name, value in environ.items() if name not in PLACES + OUTER}


def wheels_beside(here):
    """The path of the folder wheels/ if it has wheels in it, else ""."""
    path = os.path.join(here, "wheels")
    has = os.path.isdir(path) and any(name.endswith(".whl") for name in os.listdir(path))
    return path if has else ""


def quiet_call(words, environ):
    """Run a step of the set-up with its output on standard error; its exit status."""
    return subprocess.call(words, env=clean_environment(environ), stdout=sys.stderr)


def remove(env_dir):
    """Delete a virtual environment that we made."""
    try:
        shutil.rmtree(env_dir)
    except OSError as error:
        raise Trouble(
            "Cannot delete the old %s (%s).\n"
            "Is Trod still running from it? Stop it, then run the same command again." % (env_dir, error)
        )


def set_aside(path):
    """Rename a folder that is in the way and not ours to delete; its new path."""
    number = 1
    while os.path.lexists("%s-set-aside-%d" % (path, number)):
        number += 1
    new = "%s-set-aside-%d" % (path, number)
    os.rename(path, new)
    return new


def make_environment(env_dir, environ):
    """Make an empty virtual environment, marked as ours before anything else is in it."""
    check_modules(__import__, os.path.exists("/etc/debian_version"))
    os.mkdir(env_dir)
    with open(os.path.join(env_dir, MARK), "w") as f:
        f.write("start.py made this folder and may delete it and make it again.\n")
    status = quiet_call([sys.executable, "-I", "-m", "venv", env_dir], environ)
    if status != 0 or not python_answers(env_dir):
        raise Trouble(
            "Python could not make a virtual environment in\n    %s\n"
            "What it said stands above. Is the disk full, or the folder read-only?" % env_dir
        )


def pip(env_dir, verb):
    """The first words of a pip command in a virtual environment."""
    words = [python_of(env_dir), "-I", "-X", "utf8", "-m", "pip", verb]
    return words + ["--disable-pip-version-check", "--no-input", "--require-hashes"]


def pip_install(here, env_dir, kind, environ):
    """Install "core" or "dev": from wheels/ if it is there and whole, else from the user's package index."""
    install = pip(env_dir, "install") + ["--no-user"]
    wheels = wheels_beside(here)
    for name, options in steps_of(kind):
        lock = options + ["-r", lock_path(here, name)]
        if wheels and quiet_call(install + ["--no-index", "--find-links", wheels] + lock, environ) == 0:
            continue
        if wheels:
            say("wheels/ lacks something that is needed here (see above); trying the network as well.")
        links = ["--find-links", wheels] if wheels else []
        if quiet_call(install + links + lock, environ) == 0:
            continue
        free_gb = shutil.disk_usage(here).free / 1e9
        raise Trouble(
            "pip could not install the packages of requirements/%s; its own words stand above.\n"
            "  - A proxy, or an index of your own? pip heeds HTTPS_PROXY and its own settings\n"
            "    (PIP_INDEX_URL, PIP_CERT and so on).\n"
            "  - No network at all? On a like machine that has one (same system, same Python) run\n"
            "    start.py wheels, and copy the folder wheels/ beside start.py here.\n"
            "  - 'No matching distribution'? Use an ordinary 64-bit CPython, not its very newest version.\n"
            "  - Disk full? About 1 GB is needed, %.1f GB are free.\n"
            "Then run the same command again." % (name, free_gb)
        )


def ready(here, kind, environ):
    """Make sure that .venv holds all of `kind`, "core" or "dev"; the path of its Python.

    The stamp is taken away before anything changes and written when all is done, so a set-up that
    was broken off shows no stamp and is made again from nothing.
    """
    check_place(here)
    env_dir = os.path.join(here, ".venv")
    version = python_answers(env_dir) if os.path.isdir(env_dir) else ""
    stamp = read_stamp(env_dir) if version else []
    have = [k for k in ("core", "dev") if version and stamp_line(here, k, version) in stamp]
    if kind in have or "dev" in have:  # dev holds all of core, at the same versions
        return python_of(env_dir)

    ours = os.path.exists(os.path.join(env_dir, MARK))
    if os.path.lexists(env_dir) and not have:
        if ours:
            say("The packages in .venv are not as the lock file says; making it again.")
            remove(env_dir)
            version = ""
        elif not version or version_pair(version) < OLDEST:
            say("The folder .venv cannot be used; it is kept as %s" % os.path.basename(set_aside(env_dir)))
            version = ""
    if not version:
        say("Making .venv and installing Trod's packages. This is done once and takes about a minute.")
        make_environment(env_dir, environ)
        version = python_answers(env_dir)
    else:
        say("Installing what is missing in .venv.")
    if os.path.exists(os.path.join(env_dir, STAMP)):
        os.remove(os.path.join(env_dir, STAMP))
    pip_install(here, env_dir, kind, environ)
    done = ("core", "dev") if kind == "dev" else ("core",)
    write_stamp(env_dir, [stamp_line(here, k, version) for k in done])
    return python_of(env_dir)


def version_pair(version):
    """The version "3.11" as (3, 11)."""
    return tuple(int(part) for part in version.split("."))


def fill_wheels(here, kind, environ):
    """Put every package of "core" or "dev" into wheels/; the exit status."""
    ready(here, kind, environ)
    wheels = os.path.join(here, "wheels")
    for name, options in steps_of(kind):
        words = pip(os.path.join(here, ".venv"), "download") + options
        status = quiet_call(words + ["-r", lock_path(here, name), "--dest", wheels], environ)
        if status != 0:
            raise Trouble("pip could not download all of requirements/%s; its own words stand above." % name)
    say("wheels/ is filled. Copy it beside start.py on a machine of the same system and Python.")
    return 0


def trod_environment(here, environ):
    """The environment to run Trod in: its source first on the path, text in UTF-8."""
    clean = {name: value for name, value in environ.items() if name not in OUTER}
    # PYTHONPATH, not a .pth file: Python before 3.13 reads that in the locale's encoding, and accents break.
    paths = [os.path.join(here, "src"), clean.get("PYTHONPATH")]
    clean["PYTHONPATH"] = os.pathsep.join(path for path in paths if path)
    clean["PYTHONUTF8"] = "1"
    return clean


def run(words, environ, cwd=None):
    """Run a program in the foreground until it ends; its exit status, 128 + number if a signal ended it.

    Not os.exec: on Windows that would let go of the terminal.
    """
    child = subprocess.Popen(words, env=environ, cwd=cwd)
    signal.signal(signal.SIGTERM, lambda number, frame: child.terminate())
    while True:
        try:
            status = child.wait()
        except KeyboardInterrupt:  # the child has got it too, and tidies up
            continue
        return status if status >= 0 else 128 - status


class OneAtATime:
    """While it is held, a second start.py waits. The system lets go of it however the process ends."""

    def __init__(self, here):
        self.path = os.path.join(here, ".start", "lock")

    def __enter__(self):
        os.makedirs(os.path.dirname(self.path), exist_ok=True)
        self.file = open(self.path, "a+")
        try:
            self._lock(False)
        except OSError:
            say("Another start.py is setting up this folder; waiting for it.")
            self._lock(True)
        return self

    def __exit__(self, *error):
        self.file.close()

    def _lock(self, wait):
        if ON_WINDOWS:
            import msvcrt
            import time

            while True:
                try:
                    self.file.seek(0)
                    return msvcrt.locking(self.file.fileno(), msvcrt.LK_NBLCK, 1)
                except OSError:
                    if not wait:
                        raise
                    time.sleep(0.5)
        import fcntl

        return fcntl.flock(self.file.fileno(), fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))


def main(words, environ, here=HERE):
    """Do what the words ask; the exit status."""
    if not words or words[0] in ("-h", "--help", "help"):
        sys.stdout.write(__doc__)
        return 0 if words else 2
    try:
        check_python(sys.version_info)
        if words[0] == "wheels":
            if words[1:] not in ([], ["test"]):
                raise Trouble("wheels takes no word after it, or the word test; got: %s" % " ".join(words[1:]))
            with OneAtATime(here):
                return fill_wheels(here, "dev" if words[1:] else "core", environ)
        testing = words[0] == "test"
        with OneAtATime(here):
            python = ready(here, "dev" if testing else "core", environ)
    except Trouble as trouble:
        say("\nstart.py: %s" % trouble)
        return 1
    except OSError as error:
        say("\nstart.py: %s\nIs the disk full, or the folder %s not yours to write to?" % (error, here))
        return 1
    except KeyboardInterrupt:
        say("\nstart.py: broken off. Run the same command again; it begins afresh where it must.")
        return 130
    if testing:
        return run([python, "-m", "pytest"] + words[1:], trod_environment(here, environ), cwd=here)
    # -P keeps the files of the folder one happens to stand in from being imported by mistake.
    return run([python, "-P", "-m", "trod"] + words, trod_environment(here, environ))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:], os.environ))
