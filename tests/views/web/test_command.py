"""`release review` as it is started: on this machine only, or shared under TLS."""

import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager

import httpx
import pytest

from release.record.write_open import new_logbook
from tests.views.web.served import free_port

pytestmark = [pytest.mark.system, pytest.mark.timeout(120)]


@pytest.fixture
def logbook(tmp_path):
    new_logbook(tmp_path / "logbook").engine.dispose()
    return tmp_path / "logbook"


@contextmanager
def started(logbook, *options):
    """The command with the address that it printed."""
    command = [sys.executable, "-m", "release", "review", str(logbook), *options]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        yield process.stdout.readline().split()[-1]
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=60)
    assert process.returncode in (0, -signal.SIGINT, 130)


def answer(client, address):
    for _ in range(300):
        try:
            return client.get(address)
        except httpx.ConnectError:
            time.sleep(0.1)
    raise AssertionError("nobody listens")


def test_the_printed_address_lets_one_log_in_and_nobody_else_is_listened_to(logbook):
    port = free_port()
    with started(logbook, "--port", str(port)) as address, httpx.Client() as client:
        assert answer(client, address).status_code == 200
        token = address.rsplit("=", 1)[1]
        origin = {"Origin": f"http://127.0.0.1:{port}"}
        login = client.post(address.split("?")[0], data={"token": token, "who": "A"}, headers=origin)
        assert login.status_code == 303
        outside = [one[4][0] for one in socket.getaddrinfo(socket.gethostname(), port, socket.AF_INET)]
        for other in {name for name in outside if not name.startswith("127.")}:
            with pytest.raises(httpx.ConnectError):
                client.get(f"http://{other}:{port}/login")


def test_shared_it_speaks_tls_only_and_its_cookie_is_for_tls_only(logbook, tmp_path):
    key, cert = tmp_path / "key.pem", tmp_path / "cert.pem"
    make = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    make += ["-keyout", str(key), "-out", str(cert), "-days", "2", "-subj", "/CN=barn"]
    subprocess.run(make, check=True, capture_output=True)
    port = free_port()
    options = ("--port", str(port), "--share", "--cert", str(cert), "--key", str(key))
    with started(logbook, *options) as address, httpx.Client(verify=False) as client:
        assert address.startswith("https://")
        at = f"https://127.0.0.1:{port}/login"
        assert answer(client, at).status_code == 200
        form = {"token": address.rsplit("=", 1)[1], "who": "A"}
        login = client.post(at, data=form, headers={"Origin": f"https://127.0.0.1:{port}"})
        assert "secure" in login.headers["set-cookie"].lower()
        with pytest.raises(httpx.HTTPError):
            client.get(f"http://127.0.0.1:{port}/login")


def test_sharing_without_a_certificate_is_one_line_of_help(logbook):
    command = [sys.executable, "-m", "release", "review", str(logbook), "--share"]
    said = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert said.returncode == 1
    assert "give a certificate and its key" in said.stderr
    assert "Traceback" not in said.stderr
    assert said.stdout == ""


def test_a_page_that_draws_no_chart_loads_nothing_to_draw_with():
    loaded = "import sys, release.page_steps, release.views.web.serve; print('matplotlib' in sys.modules)"
    asked = subprocess.run([sys.executable, "-c", loaded], capture_output=True, text=True, check=True)
    assert asked.stdout.strip() == "False"
