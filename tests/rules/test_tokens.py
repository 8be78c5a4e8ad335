"""Link tokens: unguessable, with one spelling each, for one purpose each."""

from __future__ import annotations

import hmac
import math
from random import Random, SystemRandom

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules import tokens
from portal.rules.tokens import (
    ALPHABET,
    MAC_LETTERS,
    REF_LETTERS,
    LinkKind,
    NotAToken,
    Token,
    base32,
    mac,
    make_token,
    matches,
    new_ref,
    read_token,
)

SECRET = b"s" * 32
refs = st.text(ALPHABET, min_size=REF_LETTERS, max_size=REF_LETTERS)
kinds = st.sampled_from(LinkKind)
versions = st.integers(1, 1000)
TOKEN = make_token(SECRET, LinkKind.DOCKET, "0123456789", 1)


def test_the_alphabet_is_crockfords() -> None:
    """Crockford's Base32: ten digits and the capital letters without I, L, O and U."""
    assert "0123456789" + "".join(letter for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" if letter not in "ILOU") == ALPHABET


def test_a_token_carries_at_least_128_bits_that_nobody_can_guess() -> None:
    """OWASP ASVS 5.0, 11.5.1: at least 128 bits."""
    assert MAC_LETTERS * math.log2(len(ALPHABET)) == 130


@given(refs, kinds, versions)
def test_a_token_read_back_is_right_for_what_it_was_made_for(ref: str, kind: LinkKind, version: int) -> None:
    token = read_token(make_token(SECRET, kind, ref, version))

    assert (token.kind, token.ref) == (kind, ref)
    assert matches(token, SECRET, version)


@given(refs, kinds, versions)
def test_the_case_of_a_token_does_not_matter(ref: str, kind: LinkKind, version: int) -> None:
    text = make_token(SECRET, kind, ref, version)

    assert read_token(text.lower()) == read_token(text) == read_token(text.swapcase())


@given(refs, kinds, versions, versions)
def test_a_token_is_right_for_its_own_version_only(ref: str, kind: LinkKind, version: int, other: int) -> None:
    token = read_token(make_token(SECRET, kind, ref, version))

    assert matches(token, SECRET, other) == (other == version)


@given(refs, kinds, kinds)
def test_a_token_is_right_for_its_own_kind_only(ref: str, kind: LinkKind, other: LinkKind) -> None:
    token = Token(other, ref, mac(SECRET, kind, ref, 1))

    assert matches(token, SECRET, 1) == (kind is other)


@given(refs, refs)
def test_a_token_is_right_for_its_own_id_only(ref: str, other: str) -> None:
    assert matches(Token(LinkKind.DOCKET, other, mac(SECRET, LinkKind.DOCKET, ref, 1)), SECRET, 1) == (ref == other)


def test_a_token_is_right_under_its_own_secret_only() -> None:
    assert not matches(read_token(TOKEN), b"t" * 32, 1)


@given(st.integers(0, 1 + REF_LETTERS + MAC_LETTERS - 1), st.sampled_from(ALPHABET))
def test_changing_any_letter_forges_nothing(place: int, letter: str) -> None:
    forged = TOKEN[:place] + letter + TOKEN[place + 1 :]
    try:
        token = read_token(forged)
    except NotAToken:
        return

    assert matches(token, SECRET, 1) == (forged == TOKEN)


@pytest.mark.parametrize("letter", list("ILOUilou"))
def test_letters_that_crockford_reads_as_others_are_refused(letter: str) -> None:
    """Crockford lets I and L be read as 1 and O as 0; here each token has one spelling."""
    with pytest.raises(NotAToken):
        read_token(TOKEN[:-1] + letter)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "D",
        TOKEN[:-1],
        TOKEN + "0",
        "A" + TOKEN[1:],
        TOKEN[:11] + "-" + TOKEN[12:],
        " " + TOKEN[1:],
        TOKEN + "\n",
        TOKEN[:-1] + "\x00",
        TOKEN[:-1] + "é",
        TOKEN[:-1] + "ı",  # a dotless i; its capital is an ASCII letter
        TOKEN[:-1] + "ſ",  # a long s; its capital is an ASCII letter of the alphabet
        TOKEN[:-1] + "ß",  # its capital is two letters
        TOKEN[:-2] + "ß",
        TOKEN[:-1] + "٣",
        TOKEN[:-1] + "🙂",
        "{{7*7}}",
        "' OR 1=1 --",
        "D" * 10_000,
    ],
)
def test_another_length_letter_or_kind_is_no_token(text: str) -> None:
    with pytest.raises(NotAToken):
        read_token(text)


@given(st.text())
def test_reading_any_text_says_token_or_not_and_never_fails_otherwise(text: str) -> None:
    try:
        token = read_token(text)
    except NotAToken:
        return

    assert text.upper() == token.kind.value + token.ref + token.mac


@given(st.integers(0, 2**50 - 1))
def test_base32_keeps_the_number(number: int) -> None:
    text = base32(number, REF_LETTERS)

    assert len(text) == REF_LETTERS
    assert sum(ALPHABET.index(letter) * 32**place for place, letter in enumerate(reversed(text))) == number


def test_new_ids_are_ten_letters_and_differ() -> None:
    ids = {new_ref(SystemRandom()) for _ in range(1000)}

    assert len(ids) == 1000
    assert all(len(ref) == REF_LETTERS and set(ref) <= set(ALPHABET) for ref in ids)


def test_a_seeded_chooser_gives_the_same_ids_again() -> None:
    assert new_ref(Random(1)) == new_ref(Random(1)) != new_ref(Random(2))


def test_the_code_is_compared_in_constant_time(monkeypatch: pytest.MonkeyPatch) -> None:
    compared: list[tuple[str, str]] = []

    def compare(given: str, right: str) -> bool:
        compared.append((given, right))
        return True

    monkeypatch.setattr(tokens.hmac, "compare_digest", compare)

    assert matches(Token(LinkKind.DOCKET, "0123456789", "F" * MAC_LETTERS), SECRET, 1)
    assert compared == [("F" * MAC_LETTERS, mac(SECRET, LinkKind.DOCKET, "0123456789", 1))]


def test_the_code_is_hmac_sha256_over_kind_id_and_version() -> None:
    """RFC 2104 with FIPS 180-4's SHA-256, its first 130 bits, recomputed here from the digest's bits."""
    digest = hmac.new(SECRET, b"benchwindow link|D|0123456789|1", "sha256").digest()
    bits = "".join(f"{byte:08b}" for byte in digest)

    letters = [ALPHABET[int(bits[5 * place : 5 * place + 5], 2)] for place in range(MAC_LETTERS)]
    assert mac(SECRET, LinkKind.DOCKET, "0123456789", 1) == "".join(letters)
