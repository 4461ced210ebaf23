"""Addresses and names of the machine, found without sending anything."""

from __future__ import annotations

import ipaddress
import socket

import pytest

from coldlash.errors import InputError
from coldlash.web import network
from coldlash.web.network import NOT_ON_THE_INTERNET, host_names, is_local, is_loopback, look_around


def test_no_block_we_call_local_is_routed_on_the_internet():
    # independent software: Python's ipaddress follows the IANA special-purpose registries. It gives 100.64.0.0/10
    # neither as private nor as global (RFC 6598: shared between a carrier and its customers).
    for block in NOT_ON_THE_INTERNET:
        assert not block[0].is_global
        assert not block[-1].is_global


@pytest.mark.parametrize(
    "address",
    ["10.0.0.1", "192.168.7.20", "172.31.0.9", "169.254.3.4", "127.0.0.1", "::1", "fe80::1%wlan0", "fd00::2"],
)
def test_local_addresses_are_known(address):
    assert is_local(address)


@pytest.mark.parametrize(
    "address", ["8.8.8.8", "172.32.0.1", "2606:4700::1", "::ffff:8.8.8.8", "", "local", "10.0.0"]
)
def test_other_addresses_are_not_local(address):
    assert not is_local(address)


def test_a_mapped_local_address_is_local():
    assert is_local("::ffff:192.168.7.20")


def test_loopback_addresses_are_known():
    assert [is_loopback(a) for a in ("127.0.0.1", "127.9.9.9", "::1", "192.168.7.20", "localhost")] == [
        True,
        True,
        True,
        False,
        False,
    ]


@pytest.mark.parametrize(
    ("host", "names"),
    [
        ("garage", ("garage.local",)),
        ("Garage.local", ("garage.local",)),
        ("garage.workshop.example.", ("garage.local", "garage.workshop.example")),
        ("app", ("app.local",)),
        ("localhost", ()),
        ("", ()),
        ("bad_name", ()),
        ("-x", ()),
        ("a..b", ()),
    ],
)
def test_a_host_name_without_a_dot_is_used_only_with_local_behind_it(host, names):
    # .app and others are top-level domains of the internet: a bare name could be one
    assert host_names(host) == names


def test_this_machine_is_found_without_a_lookup(monkeypatch):
    def no_lookup(*_: object, **__: object) -> None:
        raise AssertionError("a name was looked up")

    monkeypatch.setattr(socket, "getaddrinfo", no_lookup)
    monkeypatch.setattr(socket, "getfqdn", no_lookup)
    monkeypatch.setattr(network, "_PROBES", ())
    monkeypatch.setattr(network, "_interface_addresses", lambda: ["192.168.7.20", "8.8.8.8", "127.0.0.1"])
    monkeypatch.setattr(socket, "gethostname", lambda: "garage")
    around = look_around()
    assert around.addresses == ("192.168.7.20",)
    assert around.hosts == {"192.168.7.20", "garage.local"}


def test_what_the_system_says_about_the_interfaces_is_an_address():
    for address in network._addresses():
        assert ipaddress.ip_address(address).version == 4


def test_a_machine_without_a_local_network_is_told_what_it_needs(monkeypatch):
    monkeypatch.setattr(network, "_addresses", lambda: ["8.8.8.8"])
    with pytest.raises(
        InputError, match=r"no address on a local network \(addresses found: 8.8.8.8\); connect it"
    ):
        look_around()
