import pytest

from thwart.errors import ConfigError
from thwart.ports import Device, Replay, Rfc2217, Spec, Tcp, Usb, parse_spec


@pytest.mark.parametrize(
    ("text", "spec"),
    [
        ("/dev/serial/by-id/usb-scale-if00", Device("/dev/serial/by-id/usb-scale-if00")),
        ("COM3", Device("COM3")),
        ("usb:1209:0001:A10K", Usb(0x1209, 0x0001, "A10K")),
        ("usb:1d50:60ac", Usb(0x1D50, 0x60AC, None)),
        ("usb:1209:0002:4C:11:AE:00", Usb(0x1209, 0x0002, "4C:11:AE:00")),
        ("socket://10.0.0.7:4001", Tcp("10.0.0.7", 4001)),
        ("socket://[::1]:4001", Tcp("::1", 4001)),
        ("rfc2217://converter:2217", Rfc2217("converter", 2217)),
        ("replay:captures/board one.txt", Replay("captures/board one.txt")),
    ],
)
def test_each_form_is_understood_and_printed_so_that_it_is_again(text: str, spec: Spec) -> None:
    assert parse_spec(text) == spec
    assert parse_spec(str(spec)) == spec


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "none of the forms"),
        ("scale", "none of the forms"),
        ("ttyUSB0", "/dev/ttyUSB0"),
        ("usb:", "vendor"),
        ("usb:1209", "product"),
        ("usb:120:0001", "vendor"),
        ("usb:1209:00G1", "product"),
        ("usb:1209:0001:", "empty"),
        ("socket://", "host is missing"),
        ("socket://host", "port number is missing"),
        ("socket://host:0", "port number is missing"),
        ("socket://host:70000", "out of range"),
        ("socket://host:4001/path", "only HOST:PORT"),
        ("socket://[::1:4001", "Invalid IPv6"),
        ("rfc2217://me@host:4001", "only HOST:PORT"),
        ("replay:", "file is missing"),
    ],
)
def test_what_is_no_port_says_where_and_why_and_shows_the_forms(text: str, why: str) -> None:
    with pytest.raises(ConfigError) as caught:
        parse_spec(text, "bench.toml: instruments.scale.port")
    assert caught.value.where == "bench.toml: instruments.scale.port"
    assert "bench.toml: instruments.scale.port" in str(caught.value)
    assert why in str(caught.value)
    assert "rfc2217://HOST:PORT" in caught.value.hint
