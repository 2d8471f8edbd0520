"""Leaks to plant about signatures, which are noise to look at and could carry anything: see `planted_leaks.py`."""

from planting import leak

_SEAL, _CHANNEL = "core/seal.py", "core/channel.py"
_SIGNS = "return self._private.sign(_message(word, data))"

SEALS = (
    leak(
        "the secret with which a site signs, as the key that its dives name",
        "test_channel::test_dive_names_the_public_key_of_its_site_and_nothing_else_of_it",
        (_CHANNEL, "self._key = Signer(secrets.signing_seed).key", "self._key = secrets.signing_seed"),
    ),
    leak(
        "where the vehicle is, to whoever tries places: its exact position among what is signed",
        "test_recording::test_signatures_tell_nothing_that_the_records_do_not",
        (_SEAL, "class Signer:\n", "EXACT = [None]\n\n\nclass Signer:\n"),
        (_SEAL, _SIGNS, "return self._private.sign(_message(word, data) + repr(EXACT).encode())"),
        (
            _CHANNEL,
            "        ground = self._site()\n",
            (
                "        from relay.core import seal\n\n"
                "        seal.EXACT[0] = [state.fresh('position', at_us, 10**9) for state in self._fuse.states]\n"
                "        ground = self._site()\n"
            ),
        ),
    ),
    leak(
        "whatever somebody hides in a nonce that is drawn instead of following from what is signed",
        "test_seal::test_signature_is_made_of_what_was_released_and_the_key_alone",
        (_SEAL, _SIGNS, "import os\n        return self._private.sign(_message(word, data) + os.urandom(8))"),
    ),
    leak(
        "the secret with which a site signs, a piece in the padding behind each signature",
        "test_seal::test_record_is_signed_as_the_document_says_and_as_the_book_does",
        (
            _SEAL,
            "+ signature + bytes(len(frame) - start - SIGNATURE_OCTETS)",
            (
                "+ signature + (self._private.private_bytes_raw() * 40)"
                "[len(frame) : 2 * len(frame) - start - SIGNATURE_OCTETS]"
            ),
        ),
    ),
    leak(
        "that a record was released to somebody else as well: one signature for all audiences",
        "test_seal::test_record_for_one_audience_is_none_for_another",
        (_SEAL, 'return audience.encode() + b"\\0" + told', "return told"),
    ),
)
