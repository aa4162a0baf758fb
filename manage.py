#!/usr/bin/env python3
"""Ramet's command line. On a fresh machine it first makes .venv and installs requirements.txt there."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
VENV = HERE / ".venv"
REQUIREMENTS = HERE / "requirements.txt"
OLDEST_PYTHON = (3, 11)


def venv_python():
    folder, name = ("Scripts", "python.exe") if os.name == "nt" else ("bin", "python")
    return VENV / folder / name


def requirements_digest():
    return hashlib.sha256(REQUIREMENTS.read_bytes()).hexdigest()


def stop(sentence):
    print(sentence, file=sys.stderr)
    raise SystemExit(1)


def make_venv():
    """Make .venv and install requirements.txt into it, unless that was done for this very list already."""
    stamp = VENV / "installed-requirements"
    if venv_python().exists() and stamp.exists() and stamp.read_text() == requirements_digest():
        return
    try:
        import ensurepip  # noqa: F401 - Debian ships python3 without it
        import venv
    except ImportError:
        version = f"{sys.version_info.major}.{sys.version_info.minor}"
        stop(
            "Python's venv module is missing. On Debian or Ubuntu install it with "
            f"'sudo apt-get install python{version}-venv' (or 'python3-venv'), then run this command again."
        )
    print(f"Setting up: installing requirements.txt into {VENV} (once).", file=sys.stderr)
    if not venv_python().exists():
        venv.create(VENV, with_pip=True, symlinks=os.name != "nt")
    # Standard output stays free for the command itself (--json prints one document there and nothing else).
    done = subprocess.run(
        [str(venv_python()), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r", str(REQUIREMENTS)],
        stdout=sys.stderr,
        check=False,
    )
    if done.returncode:
        stop("The packages in requirements.txt could not be installed; see the lines above, then run this again.")
    stamp.write_text(requirements_digest())


def start_again_in_venv():
    """Run this same command with the Python of .venv."""
    arguments = [str(venv_python()), str(HERE / "manage.py"), *sys.argv[1:]]
    if os.name == "nt":  # Windows has no exec that keeps the console
        raise SystemExit(subprocess.run(arguments, check=False).returncode)
    os.execv(arguments[0], arguments)  # noqa: S606


def has_packages():
    if Path(sys.prefix).resolve() == VENV.resolve():
        stamp = VENV / "installed-requirements"
        return stamp.exists() and stamp.read_text() == requirements_digest()
    try:
        import django  # noqa: F401
    except ImportError:
        return False
    return True


def main():
    if sys.version_info < OLDEST_PYTHON:
        stop(f"Ramet needs Python {'.'.join(map(str, OLDEST_PYTHON))} or newer; this is {sys.version.split()[0]}.")
    if not has_packages():
        make_venv()
        if Path(sys.prefix).resolve() != VENV.resolve():
            start_again_in_venv()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
