"""The commands that read recordings: each is there, says what it is for, and takes what its help shows."""

import pytest

from relay.__main__ import _parser

EXAMPLES = [
    ["show", "dive-001.recording", "--figures"],
    ["verify", "dive-001.recording", "dive-002.recording", "--key", "00", "--unfinished"],
    ["brief", "dive-001.recording", "-o", "dive.html", "--notes", "notes.toml", "--force", "--unfinished"],
    ["export", "dive-001.recording", "-o", "dive.csv", "--force"],
    ["publish", "released/public", "--out", "web", "--address", "https://dive.example/", "--language", "de"],
]


@pytest.mark.parametrize("words", EXAMPLES, ids=[words[0] for words in EXAMPLES])
def test_command_takes_its_arguments_and_has_help(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Without what it needs it ends with 2, as every command does that was given something wrong."""
    assert _parser().parse_args(words).command == words[0]
    with pytest.raises(SystemExit) as ended:
        _parser().parse_args(words[:1])
    assert ended.value.code == 2
    with pytest.raises(SystemExit):
        _parser().parse_args([words[0], "--help"])
    told = capsys.readouterr().out
    assert [word for word in words if word.startswith("-") and word not in told] == []
