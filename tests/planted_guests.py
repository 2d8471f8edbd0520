"""Leaks to plant about guests: an invited audience to others, what ends too late, secrets and names elsewhere."""

from planting import leak

_PAGES, _DOOR, _FRONT = "shell/site/guest_pages.py", "shell/site/guest_door.py", "shell/site/front.py"
_INVITING = "shell/desk/inviting.py"
_UNKNOWN = "test_guest_pages::test_without_a_token_that_counts_an_invited_audience_is_not_there"

GUESTS = (
    leak(
        "who is invited to an audience that is kept aboard, ashore",
        "test_listing_ashore::test_guests_of_an_audience_that_is_kept_aboard_are_not_told_ashore",
        (_INVITING, "ashore = self._listing(self._ashore)", "ashore = self._listing(self._audiences)"),
    ),
    leak(
        "an audience ashore, to who was taken back, once the ship's clock went back: the number told isn't kept",
        "test_listing_ashore::test_taking_back_reaches_the_shore_whatever_the_clock_did",
        (
            _INVITING,
            "book, number=max(self._book.number + 1, book.number + 1, int(self._wall_s())))",
            "book, number=max(1, int(self._wall_s())))",
        ),
    ),
    leak(
        "an invited audience's dives, to anybody who knows its name",
        _UNKNOWN,
        (
            "shell/site/site.py",
            "made = PublicFiles(telling, _histories(self._galleries),",
            "made = PublicFiles(telling, _histories(self._galleries | self._invited),",
        ),
    ),
    leak(
        "an invited audience's dives, to another audience's guest",
        _UNKNOWN,
        (_PAGES, "if guest is None or (files is not None and files[1] != guest.audience):", "if guest is None:"),
    ),
    leak(
        "an invited audience live, to anybody who knows its name",
        "test_guests_live::test_without_a_token_that_counts_the_socket_is_that_of_an_unknown_audience",
        (
            _FRONT,
            "viewer.begin(ask, None if ask is None else house.galleries.get(ask.audience))",
            "viewer.begin(ask, ask and (house.galleries.get(ask.audience) or house.invited.get(ask.audience)))",
        ),
    ),
    leak(
        "an audience that is neither open nor invited, to whoever has a link",
        "test_running::test_site_has_the_open_audiences_alone",
        ("shell/ship/running.py", "[name for name in names if name in expedition.invited_audiences]", "names"),
    ),
    leak(
        "exact places, by a link that was passed on",
        "test_invited_audience::test_invited_audience_that_would_show_too_much_stops_the_start",
        (
            "shell/plan/expedition_sense.py",
            """        faults.append(("place", f'{why}: take invited = true away, or set place = "local"'))\n""",
            "        pass\n",
        ),
    ),
    leak(
        "how many guests follow, in the number of followers",
        "test_guests_live::test_followers_of_an_invited_audience_are_not_counted_for_the_public",
        (
            "shell/site/site.py",
            "sum(gallery.viewers for gallery in self._galleries.values())",
            "sum(gallery.viewers for gallery in (self._galleries | self._invited).values())",
        ),
    ),
    leak(
        "what a guest was given, from a cache on the way",
        "test_guest_pages::test_no_cache_keeps_what_a_guest_is_given",
        (_PAGES, 'PRIVATE = "private, no-store"', 'PRIVATE = "public, max-age=31536000, immutable"'),
    ),
    leak(
        "a token, from the log of whatever saw the address",
        "test_guest_pages::test_token_in_the_address_counts_nothing",
        (
            _PAGES,
            'given = request.headers.getall("Authorization", [])',
            'given = [f"Bearer {token}" for token in request.rel_url.query.values()]',
        ),
    ),
    leak(
        "a guest's answer, to the next request on a connection that a proxy shares",
        "test_guest_pages::test_requests_on_one_connection_are_judged_one_by_one",
        (
            _PAGES,
            "        guest = self._guest(request)\n",
            (
                '        known = self.__dict__.setdefault("known", {})\n'
                "        guest = known[request.protocol] = known.get(request.protocol) or self._guest(request)\n"
            ),
        ),
    ),
    leak(
        "everything that follows, to who is no longer invited but has it open",
        "test_guest_door::test_who_is_taken_off_is_dismissed_at_once_and_nobody_else",
        (
            _DOOR,
            "            if now is None or (now.audience, now.digest) != (guest.audience, guest.digest):\n",
            "            if now is guest is None:\n",
        ),
    ),
    leak(
        "the rest of a recording, out of the kernel, to who is no longer invited",
        "test_guest_pages::test_invitation_that_is_taken_back_ends_within_a_second_even_amid_a_download",
        ("shell/site/conversation.py", "            throw_away(self._line)\n", ""),
    ),
    leak(
        "an audience, for ever, to whoever was invited for a day",
        "test_guests::test_token_finds_its_guest_until_the_invitation_ends",
        ("core/guests.py", "guest is not None and not guest.is_over(wall_s)", "guest is not None"),
    ),
    leak(
        "an audience, to who was taken back, by a listing that is sent again",
        "test_guest_door::test_older_listing_brings_nobody_back",
        (_DOOR, "if listing.number < self._listing.number:", "if listing.number < 0:"),
    ),
    leak(
        "an audience, to guests whom somebody ashore has written into the listing",
        "test_guests::test_listing_with_any_byte_changed_is_refused",
        ("core/guests.py", "or not is_signed(key, _WORD, told, signature)", "or not signature"),
    ),
    leak(
        "answers without end on one line, to who guesses",
        "test_guest_pages::test_wrong_tokens_beyond_the_limit_cost_the_connection_and_right_ones_are_let_in",
        (_DOOR, "return self._wrong == 0 or self._now_left(address) >= 1", "return True"),
    ),
    leak(
        "a secret's digest, byte by byte, by how long a wrong token takes",
        "test_guests::test_secret_is_compared_in_constant_time_and_unknown_ids_cost_the_same",
        ("core/guests.py", "fits = hmac.compare_digest(", "fits = bytes.__eq__("),
    ),
    leak(
        "a link, from the journal",
        "test_inviting::test_secret_is_in_the_answer_and_nowhere_else",
        (
            _INVITING,
            "write_decision(invite_of(new), who), who)",
            "write_decision(replace(invite_of(new), invited=token), who), who)",
        ),
    ),
    leak(
        "a link, from the relay's log",
        "test_inviting::test_secret_is_in_the_answer_and_nowhere_else",
        (
            _INVITING,
            '"link": link_of(self._address(), token, self._signer.key)}',
            '"link": link_of(self._address(), token, self._signer.key), "log": log.info(token)}',
        ),
    ),
    leak(
        "who is invited, by name, ashore",
        "test_inviting::test_names_stay_on_the_ship",
        (
            _INVITING,
            "            outward(ashore)\n",
            "            outward(ashore + repr(self._book).encode())\n",
        ),
    ),
)
