"""One call of a webhook: to the address that was judged, by TLS, within ten seconds, following nothing."""

import socket
import time
from collections.abc import Iterator
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import pytest

from alerts.delivery import hook_call
from alerts.delivery.hook_call import IP, NotTakenError, post
from alerts.models.webhook import HookProblem
from tests.alerts.hook_server import Receiver, certificates, receiving

LOCAL = ip_address("127.0.0.1")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Path]:
    return certificates(tmp_path_factory.mktemp("certificates"))


@pytest.fixture
def receiver(made: tuple[Path, Path, Path], settings: Any, tmp_path: Path) -> Iterator[Receiver]:
    """A server on this machine, whose address and authority the settings allow."""
    ca, certificate, key = made
    settings.WEBHOOKS_TEST_NETWORKS, settings.WEBHOOKS_TEST_CA = ["127.0.0.1/32"], str(ca)
    with receiving(tmp_path, certificate, key) as found:
        yield found


def here(host: str, port: int) -> list[IP]:
    return [LOCAL]


def problem_of(address: str, resolver: Any = here) -> NotTakenError:
    with pytest.raises(NotTakenError) as caught:
        post(address, b"{}", {}, resolver=resolver)
    return caught.value


def test_a_message_arrives_under_its_name(receiver: Receiver):
    assert post(receiver.address, b'{"a":1}', {"webhook-id": "msg_1"}, resolver=here) == 204
    (came,) = receiver.came
    assert (came.path, came.body) == ("/flies?from=farm", b'{"a":1}')
    assert came.headers["host"] == f"hooks.example.org:{receiver.port}" and came.headers["webhook-id"] == "msg_1"


def test_a_name_is_looked_up_once_and_called_where_it_was_judged(receiver: Receiver, monkeypatch: pytest.MonkeyPatch):
    """Rebinding: whoever changes the answer after the first look-up is not asked again."""
    answers = [[LOCAL], [ip_address("10.0.0.1")]]
    system = []
    monkeypatch.setattr(socket, "getaddrinfo", lambda host, *rest, **more: system.append(host) or real(host, *rest))
    real = socket._socket.getaddrinfo  # type: ignore[attr-defined]
    assert post(receiver.address, b"{}", {}, resolver=lambda host, port: answers.pop(0)) == 204
    assert len(answers) == 1 and "hooks.example.org" not in system
    # Judged anew at the next try.
    assert problem_of(receiver.address, lambda host, port: answers.pop(0)).problem == HookProblem.FORBIDDEN


@pytest.mark.parametrize(
    "answer",
    [["10.0.0.1"], ["8.8.8.8", "10.0.0.1"], ["169.254.169.254"], ["fd00:ec2::254"], ["::1"], ["::ffff:10.0.0.1"],
     ["8.8.8.8", "fe80::1%eth0"], ["100.64.0.1"], ["2002:a00:1::"], ["127.0.0.2"]],
)  # fmt: skip
def test_a_name_that_leads_into_a_private_network_is_not_called(answer: list[str], receiver: Receiver):
    found = problem_of(receiver.address, lambda host, port: [ip_address(each) for each in answer])
    assert (found.problem, receiver.connections) == (HookProblem.FORBIDDEN, 0)


def test_without_the_tests_setting_this_machine_is_never_called(receiver: Receiver, settings: Any):
    settings.WEBHOOKS_TEST_NETWORKS = []
    assert problem_of(receiver.address).problem == HookProblem.FORBIDDEN
    assert problem_of(f"http://hooks.example.org:{receiver.port}/").problem == HookProblem.FORBIDDEN
    assert receiver.connections == 0


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_nothing_is_followed(status: int, receiver: Receiver):
    receiver.status, receiver.headers = status, {"Location": f"https://127.0.0.1:{receiver.port}/latest/"}
    found = problem_of(receiver.address)
    assert (found.problem, found.status, receiver.connections) == (HookProblem.MOVED, status, 1)


@pytest.mark.parametrize(("status", "gone"), [(400, False), (404, False), (410, True), (429, False), (500, False)])
def test_an_error_of_the_receiver(status: int, gone: bool, receiver: Receiver):  # noqa: FBT001 - a table's column
    receiver.status = status
    found = problem_of(receiver.address)
    assert (found.problem, found.status, found.gone) == (HookProblem.STATUS, status, gone)


def test_a_certificate_of_another_name(receiver: Receiver):
    other = receiver.address.replace("hooks.", "other.")
    assert problem_of(other).problem == HookProblem.CERTIFICATE
    assert receiver.came == []


def test_a_certificate_of_an_unknown_authority(receiver: Receiver, settings: Any):
    settings.WEBHOOKS_TEST_CA = ""
    assert problem_of(receiver.address).problem == HookProblem.CERTIFICATE
    assert receiver.came == []


def test_nobody_listens(receiver: Receiver):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    assert problem_of(f"https://hooks.example.org:{port}/").problem == HookProblem.NO_CONNECTION


def test_a_name_that_is_not_there(receiver: Receiver):
    def missing(host: str, port: int) -> list[IP]:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    assert problem_of(receiver.address, missing).problem == HookProblem.NO_NAME
    assert problem_of(receiver.address, lambda host, port: []).problem == HookProblem.NO_NAME


def test_a_look_up_that_takes_for_ever(receiver: Receiver, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(hook_call, "CONNECT", 0.2)
    monkeypatch.setattr(socket, "getaddrinfo", lambda *rest, **more: time.sleep(1) or [])
    began = time.monotonic()
    assert problem_of(receiver.address, hook_call.resolve).problem == HookProblem.NO_NAME
    assert time.monotonic() - began < 0.9


def test_an_answer_that_comes_drop_by_drop_has_no_more_time(receiver: Receiver, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(hook_call, "WHOLE", 1.0)

    def drip(handler: Any) -> None:
        for letter in b"HTTP/1.1 204 No Content\r\nX: " + b"a" * 100:
            handler.wfile.write(bytes([letter]))
            time.sleep(0.1)

    receiver.behave = drip
    began = time.monotonic()
    assert problem_of(receiver.address).problem == HookProblem.SLOW
    assert time.monotonic() - began < 2


def test_a_body_without_end_is_not_read(receiver: Receiver):
    def pour(handler: Any) -> None:
        handler.send_response(200)
        handler.end_headers()
        for _again in range(1000):
            handler.wfile.write(b"x" * 65536)

    receiver.behave = pour
    began = time.monotonic()
    assert post(receiver.address, b"{}", {}, resolver=here) == 200
    assert time.monotonic() - began < 2


def test_headers_without_end_are_cut_off(receiver: Receiver):
    def pour(handler: Any) -> None:
        handler.wfile.write(b"HTTP/1.1 200 OK\r\n")
        for number in range(10000):
            handler.wfile.write(b"X-%d: %s\r\n" % (number, b"a" * 100))

    receiver.behave = pour
    assert problem_of(receiver.address).problem == HookProblem.NO_ANSWER


def test_what_is_no_http(receiver: Receiver):
    receiver.behave = lambda handler: handler.wfile.write(b"220 mail.example.org ESMTP\r\n\r\n")
    assert problem_of(receiver.address).problem == HookProblem.NO_ANSWER
