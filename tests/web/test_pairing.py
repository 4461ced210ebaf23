"""Codes that work once and briefly, sessions kept as hashes, guessing stopped."""

from __future__ import annotations

import hmac
import sqlite3
import stat
import threading
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from coldlash.errors import InputError
from coldlash.web import pairing as module
from coldlash.web.pairing import Pairing, PairingRefusedError, tidy_name

PHONE = "192.168.7.31"
OTHER = "192.168.7.66"


def fast() -> PasswordHasher:
    return PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


def _fill(pairing: Pairing, now: float) -> None:
    for number in range(200):
        pairing._count_try(f"192.168.{number}.1" + "0" * 200, now)


def wrong(code: str) -> str:
    return code[:-1] + ("0" if code[-1] != "0" else "1")


# --- a code ---


def test_a_code_pairs_one_device_and_no_second_one(pairing: Pairing):
    code = pairing.new_code()
    paired = pairing.pair(code.text, "Workshop phone", PHONE)
    assert pairing.device_for(paired.token) == paired.device
    with pytest.raises(PairingRefusedError, match="already used"):
        pairing.pair(code.text, "Second phone", OTHER)
    assert [device.name for device in pairing.devices()] == ["Workshop phone"]


def test_a_code_is_good_for_five_minutes_and_not_a_moment_longer(pairing: Pairing, clock):
    early, late = pairing.new_code(), pairing.new_code()
    assert early.expires_at == clock.now + 300
    clock.now += 299.9
    assert pairing.pair(early.text, "In time", PHONE).device.name == "In time"
    clock.now += 0.1
    with pytest.raises(PairingRefusedError, match="older than five minutes"):
        pairing.pair(late.text, "Too late", PHONE)


def test_a_code_may_be_typed_in_lower_case_with_spaces_and_look_alikes(pairing: Pairing, monkeypatch):
    # published: Crockford's base 32: O is read as 0, I and L as 1
    letters = iter("01AB2345CD")
    monkeypatch.setattr(module.secrets, "choice", lambda _: next(letters))
    assert pairing.new_code().text == "01AB2-345CD"
    assert pairing.pair(" ol ab2 345cd ", "Phone", PHONE).device.name == "Phone"


def test_a_code_holds_fifty_random_bits(pairing: Pairing):
    codes = [pairing.new_code().text for _ in range(60)]
    assert len(set(codes)) == 60
    assert all(len(code.replace("-", "")) == 10 for code in codes)
    # derived: 600 letters of 32 miss a given letter with probability (31/32)^600 = 5e-9
    assert set("".join(codes)) - {"-"} == set("0123456789ABCDEFGHJKMNPQRSTVWXYZ")


def test_no_more_than_three_codes_are_open_and_the_oldest_goes(pairing: Pairing, clock):
    codes = []
    for _ in range(4):
        codes.append(pairing.new_code())
        clock.now += 1
    with pytest.raises(PairingRefusedError):
        pairing.pair(codes[0].text, "Oldest", OTHER)
    for code in codes[1:]:
        pairing.pair(code.text, "Newer", PHONE)


def test_two_devices_with_one_code_at_the_same_moment_are_one_device(tmp_path: Path):
    stores = [Pairing(tmp_path, hasher=fast()) for _ in range(2)]
    code = stores[0].new_code()
    outcomes: list[str] = []
    together = threading.Barrier(2)

    def attempt(store: Pairing, address: str) -> None:
        together.wait()
        try:
            store.pair(code.text, "Phone", address)
            outcomes.append("paired")
        except PairingRefusedError:
            outcomes.append("refused")

    threads = [
        threading.Thread(target=attempt, args=(store, address))
        for store, address in zip(stores, (PHONE, OTHER), strict=True)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["paired", "refused"]
    assert len(stores[0].devices()) == 1
    for store in stores:
        store.close()


def test_another_process_may_make_a_code_for_the_server_that_runs(tmp_path: Path, pairing: Pairing):
    second = Pairing(tmp_path / "state", lambda: 1_750_000_000.0, fast())
    code = second.new_code()
    second.close()
    assert pairing.pair(code.text, "Phone", PHONE).device.name == "Phone"


# --- guessing ---


def test_after_five_wrong_codes_an_address_waits_a_quarter_of_an_hour_even_with_the_right_one(
    pairing: Pairing, clock
):
    code = pairing.new_code()
    for _ in range(5):
        with pytest.raises(PairingRefusedError, match="not open"):
            pairing.pair(wrong(code.text), "Guesser", OTHER)
    with pytest.raises(PairingRefusedError, match="wait 15 minutes") as refused:
        pairing.pair(code.text, "Guesser", OTHER)
    assert refused.value.retry_after == 900
    assert pairing.pair(code.text, "Owner", PHONE).device.name == "Owner"
    clock.now += 899
    with pytest.raises(PairingRefusedError, match="wait 1 minutes"):
        pairing.pair(pairing.new_code().text, "Guesser", OTHER)
    clock.now += 1
    assert pairing.pair(pairing.new_code().text, "Patient", OTHER).device.name == "Patient"


def test_the_wait_outlasts_a_restart_and_a_new_code(tmp_path: Path, pairing: Pairing, clock):
    for _ in range(5):
        with pytest.raises(PairingRefusedError):
            pairing.pair("00000-00000", "Guesser", OTHER)
    pairing.close()
    again = Pairing(tmp_path / "state", clock, fast())
    with pytest.raises(PairingRefusedError, match="wait"):
        again.pair(again.new_code().text, "Guesser", OTHER)
    again.close()


def test_twenty_wrong_codes_from_many_addresses_withdraw_the_code(pairing: Pairing):
    code = pairing.new_code()
    for number in range(20):
        with pytest.raises(PairingRefusedError, match="not open"):
            pairing.pair(wrong(code.text), "Guesser", f"192.168.7.{100 + number}")
    with pytest.raises(PairingRefusedError, match="not open"):
        pairing.pair(code.text, "Owner", PHONE)
    assert pairing.pair(pairing.new_code().text, "Owner", PHONE).device.name == "Owner"


def test_a_try_is_counted_before_the_code_is_compared(pairing: Pairing, monkeypatch):
    # Parallel guesses must not get in between comparing and counting.
    code = pairing.new_code()
    compared: list[int] = []

    def compare(hashed: str, given: str) -> bool:
        compared.append(pairing._db.execute("SELECT count FROM tries").fetchone()[0])
        return False

    monkeypatch.setattr(pairing, "_matches", compare)
    for _ in range(6):
        with pytest.raises(PairingRefusedError):
            pairing.pair(code.text, "Guesser", OTHER)
    assert compared == [1, 2, 3, 4, 5]


def test_old_tries_are_forgotten(pairing: Pairing, clock):
    for _ in range(4):
        with pytest.raises(PairingRefusedError):
            pairing.pair("00000-00000", "Clumsy", PHONE)
    clock.now += 901
    for _ in range(4):
        with pytest.raises(PairingRefusedError, match="not open"):
            pairing.pair("00000-00000", "Clumsy", PHONE)
    assert pairing.pair(pairing.new_code().text, "Clumsy", PHONE).device.name == "Clumsy"


def test_secrets_are_compared_in_constant_time(pairing: Pairing, monkeypatch):
    paired = pairing.pair(pairing.new_code().text, "Phone", PHONE)
    token = pairing.form_token("c" * 43)
    compared: list[object] = []

    def compare(a, b):
        compared.append(a)
        return hmac_compare(a, b)

    hmac_compare = hmac.compare_digest
    monkeypatch.setattr(module.hmac, "compare_digest", compare)
    assert pairing.device_for(paired.token) is not None
    assert pairing.form_token_fits("c" * 43, token)
    assert len(compared) == 2


# --- what is kept ---


def test_neither_codes_nor_sessions_can_be_read_from_the_store(tmp_path: Path, pairing: Pairing):
    code = pairing.new_code()
    paired = pairing.pair(code.text, "Phone", PHONE)
    open_code = pairing.new_code()
    raw = (tmp_path / "state" / "devices.sqlite3").read_bytes()
    for secret in (code.text, open_code.text, open_code.text.replace("-", ""), paired.token):
        assert secret.encode() not in raw
    assert b"$argon2id$" in raw


def test_the_store_is_readable_by_its_owner_alone(tmp_path: Path, pairing: Pairing):
    file = tmp_path / "state" / "devices.sqlite3"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700


def test_the_default_hash_has_the_strength_that_is_recommended(tmp_path: Path):
    # published (M): OWASP password storage cheat sheet: argon2id, 19 MiB, t = 2, p = 1
    store = Pairing(tmp_path)
    code = store.new_code()
    hashed = store._db.execute("SELECT hash FROM codes").fetchone()[0]
    assert hashed.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    assert store.pair(code.text, "Phone", PHONE).device.name == "Phone"
    store.close()


# --- sessions and devices ---


@pytest.mark.parametrize("token", [None, "", "x" * 43, "x" * 42, "' OR 1=1 --", "ü" * 43])
def test_a_session_that_was_never_given_is_nobody(pairing: Pairing, token):
    pairing.pair(pairing.new_code().text, "Phone", PHONE)
    assert pairing.device_for(token) is None


def test_being_seen_is_noted_at_most_once_a_minute(pairing: Pairing, clock):
    paired = pairing.pair(pairing.new_code().text, "Phone", PHONE)
    start = clock.now
    clock.now += 59
    pairing.device_for(paired.token)
    assert pairing.devices()[0].last_seen_at == start
    clock.now += 1
    pairing.device_for(paired.token)
    assert pairing.devices()[0].last_seen_at == start + 60


def test_a_session_not_used_for_four_hundred_days_ends(pairing: Pairing, clock):
    paired = pairing.pair(pairing.new_code().text, "Phone", PHONE)
    clock.now += 400 * 86_400
    assert pairing.device_for(paired.token) is not None
    clock.now += 400 * 86_400 + 1
    assert pairing.device_for(paired.token) is None
    assert pairing.devices() == []


def test_a_device_that_is_cut_off_has_no_session(pairing: Pairing):
    first = pairing.pair(pairing.new_code().text, "Phone", PHONE)
    second = pairing.pair(pairing.new_code().text, "Tablet", OTHER)
    pairing.cut_off(first.device.id)
    assert pairing.device_for(first.token) is None
    assert pairing.device_for(second.token) == second.device
    with pytest.raises(InputError, match="may have been cut off already"):
        pairing.cut_off(first.device.id)


def test_a_device_can_be_renamed(pairing: Pairing):
    paired = pairing.pair(pairing.new_code().text, "Phone", PHONE)
    pairing.rename(paired.device.id, "Töff\n  phone ")
    assert pairing.devices()[0].name == "Töff phone"
    with pytest.raises(InputError, match="no paired device has the mark 'ffff'"):
        pairing.rename("ffff", "Name")


def test_devices_are_listed_with_the_last_seen_first(pairing: Pairing, clock):
    first = pairing.pair(pairing.new_code().text, "First", PHONE)
    clock.now += 100
    pairing.pair(pairing.new_code().text, "Second", OTHER)
    assert [device.name for device in pairing.devices()] == ["Second", "First"]
    clock.now += 100
    pairing.device_for(first.token)
    assert [device.name for device in pairing.devices()] == ["First", "Second"]


def test_a_device_without_a_name_is_refused_and_its_code_stays_open(pairing: Pairing):
    code = pairing.new_code()
    with pytest.raises(InputError, match="the device has no name"):
        pairing.pair(code.text, " \u200b\n", PHONE)
    assert pairing.pair(code.text, "x" * 200, PHONE).device.name == "x" * 60
    assert tidy_name("  two\t words ") == "two words"


# --- the tokens of forms ---


def test_a_form_token_fits_its_cookie_alone_and_outlasts_a_restart(tmp_path: Path, pairing: Pairing):
    token = pairing.form_token("a" * 43)
    assert pairing.form_token_fits("a" * 43, token)
    assert not pairing.form_token_fits("b" * 43, token)
    assert not pairing.form_token_fits("a" * 43, token[:-2])
    assert not pairing.form_token_fits("a" * 43, "")
    assert not pairing.form_token_fits("a" * 43, "no hex")
    again = Pairing(tmp_path / "state")
    assert again.form_token_fits("a" * 43, token)
    again.close()
    elsewhere = Pairing(tmp_path / "elsewhere")
    assert not elsewhere.form_token_fits("a" * 43, token)
    elsewhere.close()


# --- trouble with the file ---


def test_a_damaged_store_is_recognised_with_its_remedy(tmp_path: Path):
    (tmp_path / "devices.sqlite3").write_bytes(b"not a database, " * 100)
    with pytest.raises(InputError, match="remove that file and pair the devices again"):
        Pairing(tmp_path)


def test_a_store_of_a_newer_coldlash_is_left_alone(tmp_path: Path):
    Pairing(tmp_path).close()
    with sqlite3.connect(tmp_path / "devices.sqlite3") as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(InputError, match="written by a newer coldlash"):
        Pairing(tmp_path)


def test_a_state_folder_that_cannot_be_made_is_told(tmp_path: Path):
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="can't be opened"):
        Pairing(tmp_path / "file" / "state")


def test_a_full_disk_is_told_and_a_reading_is_not_held_up_by_it(pairing: Pairing, clock):
    paired = pairing.pair(pairing.new_code().text, "Phone", PHONE)
    pages = pairing._db.execute("PRAGMA page_count").fetchone()[0]
    pairing._db.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(InputError, match=r"can't be written .*full.*free some space"):
        _fill(pairing, clock.now)
    clock.now += 3600
    assert pairing.device_for(paired.token) is not None
