"""Where events may be sent: what the operator lists, and never to the machine itself or what hides behind it."""

import pytest

from service.exchange.sending import posted
from service.exchange.targets import AllowList, TargetNotAllowed
from service.settings import Settings, SettingsError

LISTED = "https://cmms.example, https://cmms.example:8443, http://10.20.0.0/16:8080, https://[fd00:20::/32]:9443"


def allowed(listed: str = LISTED, *, loopback: bool = False) -> AllowList:
    settings = Settings.from_environment({"CAPSADDLE_WEBHOOK_TARGETS": listed})
    return AllowList(settings.webhook_targets, loopback)


@pytest.mark.parametrize(
    "url",
    [
        "https://cmms.example/hook",
        "https://CMMS.example:443/hook?a=b",
        "https://cmms.example:8443/",
        "http://10.20.3.4:8080/hook",
        "http://relay.plant.example:8080/hook",
        "https://[fd00:20::5]:9443/hook",
    ],
)
def test_what_is_listed_may_be_named(url: str) -> None:
    assert allowed().target(url).host


@pytest.mark.parametrize(
    "url",
    [
        "http://cmms.example/hook",
        "https://cmms.example:9000/hook",
        "https://other.example/hook",
        "https://cmms.example.evil.example/hook",
        "https://cmms.example@evil.example/hook",
        "https://user:pw@cmms.example/hook",
        "https://cmms.example/#x",
        "https://evil.example\\@cmms.example/",
        "https://cmms.example:8443x/",
        "https://cmms.example:0/hook",
        "https://10.20.3.4:0/hook",
        "https://10.20.3.4:8080/hook",
        "http://10.21.3.4:8080/hook",
        "ftp://cmms.example/",
        "file:///etc/passwd",
        "https:///hook",
        "https://cmms.example/\nHost: x",
        "http://169841668:8080/",
        "http://0x0a140304:8080/",
        "http://10.1312772:8080/",
        "http://0x7f.1:8080/",
        "http://10.20.3.04:8080/",
        "https://c\u043cms.example/",
        "https://" + "a" * 3000 + ".example/",
    ],
)
def test_what_is_not_listed_is_refused(url: str) -> None:
    with pytest.raises(TargetNotAllowed):
        allowed().target(url)


def test_without_a_list_nothing_is_allowed() -> None:
    with pytest.raises(TargetNotAllowed):
        allowed("").target("https://cmms.example/hook")


NEVER = [
    "127.0.0.1",
    "127.1.2.3",
    "0.0.0.0",
    "169.254.169.254",
    "100.100.100.200",
    "168.63.129.16",
    "224.0.0.1",
    "255.255.255.255",
    "::1",
    "::",
    "fe80::1",
    "fe80::1%eth0",
    "ff02::1",
    "fd00:ec2::254",
    "::ffff:127.0.0.1",
    "::ffff:169.254.169.254",
    "64:ff9b::7f00:1",
    "64:ff9b::a9fe:a9fe",
    "2002:7f00:1::",
    "2002:a9fe:a9fe::1",
    "2001:0:7f00:1::",
    "::127.0.0.1",
    "::ffff:0:127.0.0.1",
]


@pytest.mark.parametrize("address", NEVER)
@pytest.mark.parametrize("listed", ["https://cmms.example", "https://0.0.0.0/0, https://[::/0]"])
def test_some_addresses_are_never_reached_whatever_the_list_says(address: str, listed: str) -> None:
    """Among good ones too: every answer of the resolver counts, so that none can be swapped in (RFC 6890, tables)."""
    allow = allowed(listed)
    target = allow.target("https://cmms.example/hook")
    with pytest.raises(TargetNotAllowed):
        allow.addresses(target, lambda host, port: ["203.0.113.7", address])


def test_a_name_is_held_to_the_networks_when_only_networks_are_listed() -> None:
    allow = allowed("http://10.20.0.0/16:8080")
    target = allow.target("http://relay.plant.example:8080/hook")
    assert allow.addresses(target, lambda host, port: ["10.20.0.9"]) == ["10.20.0.9"]
    with pytest.raises(TargetNotAllowed):
        allow.addresses(target, lambda host, port: ["10.20.0.9", "10.21.0.9"])


def test_the_machine_itself_only_when_the_operator_says_so() -> None:
    listed = "http://127.0.0.1:9000"
    with pytest.raises(TargetNotAllowed):
        allowed(listed).target("http://127.0.0.1:9000/hook")
    assert allowed(listed, loopback=True).target("http://127.0.0.1:9000/hook").port == 9000
    with pytest.raises(TargetNotAllowed):
        allowed("http://169.254.169.254:80", loopback=True).target("http://169.254.169.254/latest")


def test_an_attempt_at_a_forbidden_place_opens_no_connection() -> None:
    outcome = posted("https://cmms.example/", b"{}", {}, allowed(), lambda host, port: ["127.0.0.1"])
    assert (outcome.word, outcome.status) == ("not_allowed", None)


@pytest.mark.parametrize(
    "value", ["cmms", "ftp://cmms.example", "https://cmms.example/path", "10.20.0.1/16", "a b", "*"]
)
def test_a_list_that_cannot_be_read_stops_the_start(value: str) -> None:
    if value == "cmms":
        assert allowed(value).targets[0].host == "cmms"
        return
    with pytest.raises(SettingsError, match="CAPSADDLE_WEBHOOK_TARGETS"):
        allowed(value)
