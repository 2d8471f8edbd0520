"""What there is beside the built page: each file under its path, made once for what it is made of."""

import json
from base64 import b64decode

import pytest

from dives import SIGNER
from relay.core.history import History
from relay.core.seal import is_sealed
from relay.core.wire import WireRecord, decode, read_recording
from relay.shell.site import public_files
from relay.shell.site.public_files import PublicFiles, Telling, recording_path
from relay.shell.site.representation import FOREVER, NO_CACHE
from released import EXPEDITION, dive, programme

INDEX = b'<html><head></head><body><div id="first"></div></body></html>'


def files(*audiences: str, index: bytes | None = INDEX) -> tuple[PublicFiles, dict[str, History]]:
    """Return the files of a site whose audiences have had one whole dive and the begin of another."""
    histories = {name: History(name) for name in audiences or ("public",)}
    for name, history in histories.items():
        for frame in [*dive(1, 3, audience=name), *dive(2, 2, audience=name, closed=False)]:
            history.append(frame)
    return PublicFiles(Telling(EXPEDITION), histories, next(iter(histories)), index), histories


def test_every_path_that_is_named_is_there_and_made_the_same_again() -> None:
    """What a folder will hold is what the relay gives out; made twice it is the same bytes."""
    made, _ = files("public", "press")
    paths = list(made.paths())
    assert len(set(paths)) == len(paths)
    for path in paths:
        first, again = made.find(path), made.find(path)
        assert first is not None
        assert again is not None
        assert (first.make(), first.tag) == (again.make(), again.tag)


@pytest.mark.parametrize(
    "path",
    ["dives.json/", "/dives.json", "recordings/family/dives.json", "recordings/public/dive-1.recording",
     "dive-003.html", "recordings/public/dive-0001.recording", "recordings/public/../dives.json",
     "pictures/dive-001.gif",
     "pictures/public/dive-001.svg", "recordings", "recordings/"],
)  # fmt: skip
def test_nothing_else_is_there(path: str) -> None:
    """Another audience's, another dive's or a misspelt path has nothing."""
    assert files()[0].find(path) is None


def test_each_open_audience_has_its_own_list_and_the_pages_are_the_first_ones() -> None:
    """Lists by audience under recordings/, the first one's at the top as well."""
    made, _ = files("public", "press")
    lists = [made.find(path) for path in ("dives.json", "recordings/public/dives.json", "recordings/press/dives.json")]
    named = [json.loads(file.make())["audience"] for file in lists if file is not None]
    assert named == ["public", "public", "press"]


def test_tags_change_with_what_a_file_is_made_of() -> None:
    """A new record changes the pages of its dive and of the expedition, and nothing of a closed dive."""
    made, histories = files()

    def tags() -> dict[str, str]:
        return {path: file.tag for path in made.paths() if (file := made.find(path)) is not None}

    before = tags()
    histories["public"].append(dive(2, 3, closed=False)[-1])
    changed = {path for path, tag in tags().items() if before[path] != tag}
    assert changed == {
        "index.html", "dives.json", "recordings/public/dives.json", "recordings/public/dive-002.recording",
        "expedition.html", "pictures/expedition.png", "dive-002.html", "pictures/dive-002.svg", "pictures/dive-002.png",
    }  # fmt: skip


def test_recording_of_a_closed_dive_may_be_kept_for_ever() -> None:
    """Closed: whole, with its footer, kept; open: so far, asked for again."""
    made, _ = files()
    closed, still_open = (made.find(recording_path("public", dive)) for dive in (1, 2))
    assert closed is not None
    assert still_open is not None
    assert (closed.cache_control, still_open.cache_control) == (FOREVER, NO_CACHE)
    assert read_recording(closed.make()).closed
    assert not read_recording(still_open.make()).closed


def test_site_without_a_page_has_no_index() -> None:
    """Where no page was built the data is there all the same."""
    made, _ = files(index=None)
    assert made.find("index.html") is None
    assert made.find("dives.json") is not None


def test_each_record_is_read_once_however_many_files_are_made(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages and pictures of two dives, made again after each new record: what was read isn't read again."""
    read: list[bytes] = []

    def counted(frame: bytes) -> WireRecord:
        read.append(frame)
        return decode(frame)

    monkeypatch.setattr(public_files, "decode", counted)
    made, histories = files()
    for frame in dive(2, 9, closed=False)[3:]:
        for path in list(made.paths()):
            file = made.find(path)
            assert file is not None
            file.make()
        histories["public"].append(frame)
    assert len(read) == len(set(read)) == sum(len(each.frames) for each in histories["public"].dives) - 1


def test_reading_on_goes_as_far_as_asked_and_says_when_all_is_read() -> None:
    """A little at a time, across dives; the pages are the same as when they read everything themselves."""
    made, _ = files()
    steps = [made.read_on(3) for _ in range(3)]
    assert steps == [False, False, True]
    assert made.read_on(1)
    other, _ = files()
    page, others = made.find("expedition.html"), other.find("expedition.html")
    assert page is not None
    assert others is not None
    assert page.make() == others.make()
    assert PublicFiles(Telling(EXPEDITION), {}, "public", None).read_on(1)


def test_programme_is_each_audiences_own_and_there_before_anything_was_told() -> None:
    """Nothing told is a file that says so; another audience's stays under its own path."""
    made, histories = files("public", "press")
    before = json.loads(content(made, "programme.json"))
    assert before == {"format": 1, "audience": "public", "programme": None, "record": None, "questions_to": None}
    histories["press"].post(programme(0, "for the press", "bow", left_s=7_200, dive=3, audience="press"))
    assert json.loads(content(made, "programme.json")) == before
    assert json.loads(content(made, "recordings/press/programme.json"))["programme"] == {
        "number": 0, "pinned": "for the press", "schedule": ["bow"], "next_dive_in_s": 7_200, "next_dive": 3,
    }  # fmt: skip
    record = b64decode(json.loads(content(made, "recordings/press/programme.json"))["record"], validate=True)
    assert is_sealed(SIGNER.key, "press", record)
    assert (decode(record).seq, decode(record).body) == (0, ["for the press", ["bow"], 7_200, 3])
    assert made.find("recordings/family/programme.json") is None


def test_programme_changes_the_tags_of_what_it_is_in_and_of_nothing_else() -> None:
    """Its file, the list's page and the first words change; a dive's page and recording don't."""
    made, histories = files()
    before = {path: file.tag for path in made.paths() if (file := made.find(path)) is not None}
    histories["public"].post(programme(0, "The boiler is next."))
    changed = {path for path in before if (file := made.find(path)) is not None and file.tag != before[path]}
    assert {"index.html", "expedition.html", "programme.json", "recordings/public/programme.json"} <= changed
    assert not any("dive-" in path for path in changed)


def test_place_for_questions_is_told_where_there_is_one() -> None:
    """Off by default; a folder that stays as it is counts nothing down."""
    history = History("public")
    history.post(programme(0, None, left_s=7_200))
    asked = "https://questions.example/"
    made = PublicFiles(Telling(EXPEDITION, questions_to=asked, counts=False), {"public": history}, "public", INDEX)
    told = json.loads(content(made, "programme.json"))
    assert (told["questions_to"], told["programme"]["next_dive_in_s"]) == (asked, None)


def content(made: PublicFiles, path: str) -> bytes:
    """Return what is at a path."""
    file = made.find(path)
    assert file is not None
    return file.make()
