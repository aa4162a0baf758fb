"""`manage.py` sets itself up on a fresh machine."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
pytestmark = pytest.mark.no_database


@pytest.fixture
def checkout(tmp_path):
    """A folder with manage.py and an empty list of requirements, as on a machine that never saw the project."""
    shutil.copy(ROOT / "manage.py", tmp_path)
    (tmp_path / "requirements.txt").write_text("")
    return tmp_path


def run(checkout, before="", *arguments):
    """Run the checkout's manage.py in a Python that has no packages, after some statements."""
    script = (
        f"{before}\nimport runpy, sys\nsys.argv = ['manage.py', *{arguments!r}]\n"
        "runpy.run_path('manage.py', run_name='__main__')"
    )
    return subprocess.run(
        [sys.executable, "-I", "-S", "-c", script], cwd=checkout, capture_output=True, text=True, check=False
    )


def test_without_venv_it_says_which_package_to_install(checkout):
    done = run(checkout, "import sys; sys.modules['ensurepip'] = None", "check")
    assert done.returncode == 1
    assert f"python{sys.version_info.major}.{sys.version_info.minor}-venv" in done.stderr
    assert "Traceback" not in done.stderr


def test_an_old_python_is_named(checkout):
    done = run(checkout, "import sys; sys.version_info = (3, 9)", "check")
    assert done.returncode == 1
    assert "3.11" in done.stderr


def test_it_makes_the_environment_and_starts_itself_again_there(checkout):
    """With no requirements the second start has no Django: it fails there, in the new environment."""
    done = run(checkout, "", "check")
    assert (checkout / ".venv" / "installed-requirements").exists()
    assert "Setting up" in done.stderr
    assert "django" in done.stderr
    assert done.stdout == ""


def test_a_list_that_cannot_be_installed_is_said_and_not_taken_for_done(checkout):
    (checkout / "requirements.txt").write_text("./no-such-folder\n")
    done = run(checkout, "", "check")
    assert done.returncode == 1
    assert "could not be installed" in done.stderr
    assert not (checkout / ".venv" / "installed-requirements").exists()
