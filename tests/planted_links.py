"""Leaks to plant about the link to the shore: what must not leave by it, who isn't told, what must not come back."""

from planting import leak

LINKS = (
    leak(
        "the rest of what was on its way ashore when its audience was held",
        "test_uplink_kept::test_hold_keeps_aboard_what_is_on_its_way",
        (
            "shell/uplink/uplink_session.py",
            "if isinstance(message, Frames) and not self._may_go(message.audience):",
            "if False:",
        ),
    ),
    leak(
        "an audience that the link isn't for, ashore: whatever is released goes",
        "test_uplink::test_audience_that_is_not_listed_never_leaves",
        (
            "shell/uplink/uplink.py",
            "        shore = self._shores.get(frame.audience)\n",
            "        shore = self._shores.setdefault(frame.audience, Shore(ShipLog(frame.audience)))\n",
        ),
    ),
    leak(
        "exact places, ashore: an audience that is told them may be named for the link",
        "test_uplink_plan::test_exact_places_never_go_by_the_link",
        (
            "shell/plan/expedition_sense.py",
            "    if audience.place is Place.EXACT:\n        return 'is told",
            "    if False:\n        return 'is told",
        ),
    ),
    leak(
        "what is released, to whoever answers as the shore: the pin isn't compared",
        "test_uplink::test_shore_without_the_pinned_certificate_gets_no_proof",
        (
            "shell/uplink/uplink_link.py",
            "    if plan.pin is not None and not compare_digest(",
            "    if not plan.pin and not compare_digest(",
        ),
    ),
    leak(
        "a follower's page fed by whoever stands between: a proof says nothing of the certificate",
        "test_uplink_port::test_proof_that_is_passed_on_is_worth_nothing",
        ("core/uplink_talk.py", "    return nonce + sha256(certificate).digest()", "    return nonce"),
    ),
    leak(
        "what the shore writes beside its numbers, aboard",
        "test_uplink_talk::test_anything_but_numbers_is_no_acknowledgement",
        ("core/uplink_talk.py", "        if _packed(value) == data:\n            return value", "        return value"),
    ),
)  # fmt: skip
