"""Serving, the owner's first start, and the sign-in link."""

import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from propagation.management import owner as owners
from propagation.management.serving import serve

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.django_db
def test_the_first_start_takes_the_owner_from_the_environment(monkeypatch):
    monkeypatch.setenv("RAMET_OWNER", "keeper")
    monkeypatch.setenv("RAMET_PASSWORD", "nine wet thumbs")
    user = owners.make_owner()
    assert user == owners.owner()
    assert user.check_password("nine wet thumbs")


@pytest.mark.django_db
def test_a_weak_password_is_refused_with_the_reason(monkeypatch):
    monkeypatch.setenv("RAMET_OWNER", "keeper")
    monkeypatch.setenv("RAMET_PASSWORD", "coral")
    with pytest.raises(CommandError, match=r"RAMET_PASSWORD: .*too short"):
        owners.make_owner()
    assert owners.owner() is None


@pytest.mark.django_db
def test_without_terminal_or_environment_it_says_what_to_set(monkeypatch):
    monkeypatch.delenv("RAMET_OWNER", raising=False)
    monkeypatch.setattr("sys.stdin", open("/dev/null") if sys.platform != "win32" else open("nul"))  # noqa: SIM115
    with pytest.raises(CommandError, match="RAMET_OWNER and RAMET_PASSWORD"):
        owners.make_owner()


@pytest.mark.django_db
def test_the_printed_link_signs_in_once(client, keeper, capsys):
    call_command("sign_in_link", address="http://testserver")
    address, _, secret = capsys.readouterr().out.strip().partition("?sesame=")
    assert client.post(address, {"sesame": secret}).status_code == 302
    assert client.get("/").status_code == 200
    client.logout()
    assert client.post(address, {"sesame": secret}).status_code == 403


def test_a_taken_port_is_named():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(CommandError, match="taken by another program"):
            serve(port=taken.getsockname()[1], lan=False, say=print)


def test_a_fresh_home_is_served_with_its_pages_and_files(tmp_path):
    """From nothing: the database is made, the owner comes from the environment, pages and stylesheet are answered."""
    process = subprocess.Popen(
        [sys.executable, "manage.py", "serve", "--port", "0"],
        cwd=ROOT,
        env={"RAMET_HOME": str(tmp_path), "RAMET_OWNER": "keeper", "RAMET_PASSWORD": "nine wet thumbs", "PATH": ""},
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        address = process.stdout.readline().split()[3]
        with urllib.request.urlopen(f"{address}/sign-in/") as page:  # noqa: S310
            assert page.status == 200
            assert "default-src 'self'" in page.headers["Content-Security-Policy"]
        with urllib.request.urlopen(f"{address}/static/propagation/ramet.css") as style:  # noqa: S310
            assert style.status == 200
    finally:
        process.terminate()
        process.wait()
    assert (tmp_path / "ramet.sqlite3").exists()
    assert (tmp_path / "keys" / "secret_key").stat().st_mode & 0o077 == 0


def test_two_first_starts_at_once_keep_one_secret(tmp_path):
    script = (
        "import sys; from pathlib import Path; from config.home import kept_secret; "
        "print(kept_secret(Path(sys.argv[1])))"
    )
    starts = [
        subprocess.Popen(
            [sys.executable, "-c", script, str(tmp_path / "keys" / "secret")],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(6)
    ]
    assert len({start.communicate()[0] for start in starts}) == 1


def test_a_start_waits_for_nothing_that_takes_a_second_to_import():
    """Every command begins so: what draws, measures and forecasts is imported by what needs it."""
    script = (
        "import sys, django; django.setup(); print(*sorted({'av', 'cv2', 'reportlab', 'scipy'} & sys.modules.keys()))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=ROOT,
        env={"DJANGO_SETTINGS_MODULE": "config.settings", "PATH": ""},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == []
