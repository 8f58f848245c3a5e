"""Columns of an uploaded log that are not recognised are said on the page, and the same upload is read again.

What is kept for that is one session's and one case's, the newest, for some minutes, and nothing of it stays behind.
"""

from __future__ import annotations

import html
import io
import os
import re
import stat
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import httpx
import pytest

from diag.basics import UsageError
from diag.knowledge_base import load_knowledge
from diag.logs import read_answer, told_as
from diag.web.columns_typed import ColumnTyped, channel_choices, channel_words, told_columns, unit_choices
from diag.web.kept_logs import PREFIX, KeptLogs, clear_left_logs
from tests.logs.simulated import HEADS, State, Table, simulate, written
from tests.web.served import UNHURRIED, Browser, browser_at, served, server

KNOWLEDGE = load_knowledge()
ENGINE = KNOWLEDGE.engines["ostrel_4"]
CODED = {**HEADS, "speed": "K7", "time": "Z", **{f"correction {each}": f"A_{each}" for each in range(1, 5)}}
SAID = {"channel1": "time", "column_unit1": "s", "channel2": "speed", "column_unit2": ""} | {
    f"channel{8 + each}": f"correction@{each}" for each in range(1, 5)
} | {f"column_unit{8 + each}": "mg/stroke" for each in range(1, 5)}  # fmt: skip
ODD = b"furlong;bar;engine speed [rpm]\n" + b"".join(b"%d;%d;800\n" % (each, each) for each in range(60))


@pytest.fixture(scope="module")
def plain() -> bytes:
    """A drive whose heads say what its columns are."""
    return _log({})


@pytest.fixture(scope="module")
def coded() -> bytes:
    """The same drive, of which nobody knows time, speed and corrections by their heads."""
    return _log(CODED)


def _log(heads: dict[str, str]) -> bytes:
    return ("\n".join(written(simulate(State()), heads or None)) + "\n").encode()


def _upload(browser: Browser, number: int, content: bytes, **fields: str) -> httpx.Response:
    data = {"token": browser.token(), "on": str(browser.revision(number)), **fields}
    return browser.client.post(f"/case/{number}/log", data=data, files={"log": ("drive.csv", content)})


def _again(browser: Browser, number: int, shown: httpx.Response, **said: str) -> httpx.Response:
    return browser.send(f"/case/{number}/log", **(_hidden(shown.text) | said))


def _hidden(text: str) -> dict[str, str]:
    """What the form that reads again sends along."""
    form = text.partition('<details class="sheet" id="columns"')[2].partition("</form>")[0]
    names = ("kept", "heads")
    return {name: re.findall(rf'name="{name}" value="([^"]+)"', form)[0] for name in names}


def _readings(text: str) -> list[str]:
    return [html.unescape(each) for each in re.findall(r'name="reading" value="([^"]+)"', text)]


def _plain_words(text: str) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", text)))


@contextmanager
def _fresh(browser: Browser) -> Iterator[int]:
    """A case, and a session whose uploads were not counted yet."""
    browser.client.cookies.clear()
    yield browser.demo("low_compression")


def test_a_log_with_unknown_heads_gives_the_readings_of_the_same_log_with_known_ones(
    browser: Browser, plain: bytes, coded: bytes
) -> None:
    """The clean log is the measure. Nothing is written by reading; what is taken stands in the case, once."""
    with _fresh(browser) as number:
        expected = _readings(_upload(browser, number, plain).text)
        assert len([each for each in expected if each.startswith('["correction"')]) == 4
        before = browser.revision(number)
        refused = _upload(browser, number, coded)
        assert refused.status_code == 422
        words = _plain_words(refused.text)
        assert "no column is known to be the time" in words and "no column is known to be the engine speed" in words
        assert "Column 2: K7" in words and "Not used: not recognised." in words
        assert re.search(r"It holds 0\.000; 7\d\d\.\d+; ", words)  # not only of the engine at rest, in the first rows
        assert 'type="file"' in refused.text
        shown = _again(browser, number, refused, **SAID)
        assert shown.status_code == 200, shown.text
        assert _readings(shown.text) == expected
        assert "Log drive.csv" in shown.text
        assert browser.revision(number) == before
        take = {"on": before, "reading": expected, "kept": _hidden(shown.text)["kept"]}
        assert browser.send(f"/case/{number}/log/take", **take).status_code == 200
        assert browser.revision(number) > before
        gone = _again(browser, number, shown, **SAID)  # its readings were taken: it is not kept any longer
        assert gone.status_code == 422 and "The log is not kept here any longer" in gone.text


def test_what_was_said_stands_there_and_can_be_changed(browser: Browser, coded: bytes) -> None:
    with _fresh(browser) as number:
        first = _upload(browser, number, coded)
        shown = _again(browser, number, first, **SAID)
        chosen = re.findall(r'<select id="([a-z]+-\d+)".*?</select>', shown.text, re.DOTALL)
        assert {"channel-1", "channel-2", "unit-9"} <= set(chosen)
        assert re.search(r'id="channel-9".*?value="correction@1" selected', shown.text, re.DOTALL)
        assert "It counts as said here, in mg/stroke." in shown.text
        swapped = _again(browser, number, shown, **(SAID | {"channel9": "correction@2", "channel10": "correction@1"}))
        values = {each.split(",")[1].strip(): each for each in _readings(swapped.text) if "correction" in each}
        before = {each.split(",")[1].strip(): each for each in _readings(shown.text) if "correction" in each}
        assert values["1"].split(", ")[2] == before["2"].split(", ")[2] != values["2"].split(", ")[2]
        left = _again(browser, number, swapped, channel1="time", channel2="speed")
        assert not [each for each in _readings(left.text) if "correction" in each]
        assert "in s, the usual unit, as nobody named one" in left.text


def test_a_log_that_is_understood_still_lists_what_is_not_used(browser: Browser) -> None:
    """Folded, with why; a column whose unit is not said can be given one."""
    lines = _log({**HEADS, "rail_actual": "Rail pressure", "rail_wanted": "Rail pressure wanted"})
    with _fresh(browser) as number:
        shown = _upload(browser, number, lines)
        assert shown.status_code == 200
        assert re.search(r'<details class="sheet" id="columns">', shown.text)
        assert "its unit is not said (bar, kPa" in shown.text
        assert not [each for each in _readings(shown.text) if "rail" in each]
        both = {"channel4": "rail_wanted", "column_unit4": "bar", "channel5": "rail_actual", "column_unit5": "bar"}
        assert [each for each in _readings(_again(browser, number, shown, **both).text) if "rail" in each]


def test_a_log_without_a_temperature_asks_whether_the_engine_was_warm(browser: Browser) -> None:
    """The simulated engine is the measure: its second cylinder asks for 2.1 mg/stroke more. Of a log that has the
    temperature it is not asked."""
    table = simulate(State(warm_up_s=0.0))
    cold = Table({name: values for name, values in table.columns.items() if name != "coolant"})
    with _fresh(browser) as number:
        shown = _upload(browser, number, ("\n".join(written(cold)) + "\n").encode())
        assert not [each for each in _readings(shown.text) if "correction" in each]
        assert 'name="warm" value="yes">' in shown.text and "<fieldset" not in shown.text
        told = _again(browser, number, shown, warm="yes")
        found = {
            each.split(",")[1].strip(): each.split(",")[2] for each in _readings(told.text) if "correction" in each
        }
        assert float(found["2"].strip(' "').split()[0]) == pytest.approx(2.1, abs=0.2)
        assert 'name="warm" value="yes" checked>' in told.text
        assert 'name="warm"' not in _upload(browser, number, ("\n".join(written(table)) + "\n").encode()).text


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"channel1": "sped"}, "Column 1: 'sped' is no channel; did you mean 'speed'?"),
        ({"channel1": "x" * 3000}, "Column 1: 'xxxxxxxx"),
        ({"channel1": "<script>alert(1)</script>"}, "Column 1: '<script>alert(1)</script>' is no channel"),
        ({"channel1": "correction@9", "column_unit1": "mg/stroke"}, "needs the number of a cylinder, 1 to 4"),
        ({"channel1": "correction@"}, "needs the number of a cylinder, 1 to 4"),
        ({"channel1": "correction"}, "needs the number of a cylinder, 1 to 4"),
        ({"channel1": "correction@\u00b2"}, "needs the number of a cylinder, 1 to 4"),
        ({"channel1": "correction@" + "1" * 3900}, "needs the number of a cylinder, 1 to 4"),
        ({"channel1": "time@2"}, "'time' is of the whole engine, not of a cylinder"),
        ({"channel1": "time", "column_unit1": "bar"}, "'bar' is no unit of 'time'; it can be s, ms"),
        ({"channel1": "time", "column_unit1": "9e999 s"}, "is no unit of 'time'"),
        ({"channel1": "time", "column_unit1": "-1 s"}, "is no unit of 'time'"),
        ({"channel1": "time", "channel2": "time"}, "columns 1 and 2 are both said to be 'time'"),
        ({"channel9": "coolant"}, "the log has no column 9; it has 3"),
        ({"channel9999": "coolant"}, "the log has no column 9999; it has 3"),
        ({"channel0": "time"}, "'channel0' names no column"),
        ({"channel-1": "time"}, "'channel-1' names no column"),
        ({"channel99999": "time"}, "'channel99999' names no column"),
        ({"channel\u0663": "time"}, "names no column"),
        ({"column_unit": "s"}, "'column_unit' names no column"),
        ({"heads": "0" * 64, "channel1": "time"}, "This log has other columns than the one of which"),
    ],
    ids=range(21),
)
def test_what_a_browser_sends_of_columns_is_not_trusted(browser: Browser, said: dict[str, str], message: str) -> None:
    """One clear sentence, nothing written, and the log is still there for what is right."""
    with _fresh(browser) as number:
        before = browser.revision(number)
        shown = _upload(browser, number, ODD)
        assert shown.status_code == 422
        answer = _again(browser, number, shown, **said)
        assert answer.status_code == 422, answer.text
        assert message in _plain_words(answer.text)
        assert "<script>alert" not in answer.text and "Traceback" not in answer.text
        assert tempfile.gettempdir() not in answer.text
        assert browser.revision(number) == before
        assert _again(browser, number, shown, channel1="time", column_unit1="s").status_code == 200


@pytest.mark.parametrize("kept", ["x", "../../etc/passwd", "\u2603", "x" * 3900])
def test_a_log_that_is_not_kept_is_asked_for_again_in_words(browser: Browser, kept: str) -> None:
    with _fresh(browser) as number:
        assert _upload(browser, number, ODD).status_code == 422
        answer = browser.send(f"/case/{number}/log", kept=kept, heads="h", channel1="time", column_unit1="ms")
        assert answer.status_code == 422
        assert "it goes after 15 minutes" in _plain_words(answer.text)
        assert "Choose the file again" in answer.text and 'type="file"' in answer.text
        assert 'name="channel1" value="time"' in answer.text  # what was said is sent along with the file


def test_heads_and_cells_of_a_log_are_shown_as_text(browser: Browser) -> None:
    """Nothing of a log is taken for the page's own; what is endless is cut."""
    rows = "".join(f"{each},<i>{each}</i>,{'9' * 500},{each}\n" for each in range(20))
    content = f"<b>n</b>,\u202e\u200b{'w' * 9000},<script>alert(1)</script>,m\n{rows}".encode()
    with _fresh(browser) as number:
        answer = _upload(browser, number, content)
        assert answer.status_code == 422
        assert "&lt;script&gt;alert(1)" in answer.text
        assert not re.search(r"<script>alert|<b>n|<i>1|\u200b|\u202e", answer.text)
        assert "w" * 100 not in answer.text.partition('id="columns"')[2]


def test_very_many_columns_are_listed_as_far_as_a_form_holds_them(browser: Browser) -> None:
    """Those of which something is known come first, and how many more there are is said."""
    names = [*(f"x{each}" for each in range(400)), "Rail pressure"]
    content = ",".join(names) + "\n" + "".join(",".join(["5"] * 401) + "\n" for _ in range(10))
    with _fresh(browser) as number:
        shown = _upload(browser, number, content.encode())
        assert shown.status_code == 422
        fields = re.findall(r'<select id="channel-(\d+)"', shown.text)
        assert len(fields) == 180 and "401" in fields
        assert "221 more columns are not used" in shown.text
        every = {f"channel{each}": "" for each in fields} | {f"column_unit{each}": "" for each in fields}
        assert _again(browser, number, shown, **every).status_code == 422  # as a browser sends it: not too many fields


def test_two_sessions_and_two_cases_do_not_see_each_others_logs(tmp_path: Path) -> None:
    """In a real server: the name that one session's log is kept by opens nothing to another, nor at another case."""
    with server(tmp_path) as running, browser_at(running.address) as one, browser_at(running.address) as other:
        number, second = one.demo("low_compression"), one.demo("one_blown_seal")
        shown = _upload(one, number, ODD)
        said = {"channel1": "time", "column_unit1": "s"}
        assert "furlong" in shown.text
        stolen = _again(other, number, shown, **said)
        elsewhere = _again(one, second, shown, **said)
        for answer in (stolen, elsewhere):
            assert answer.status_code == 422 and "not kept here any longer" in answer.text
            assert "furlong" not in answer.text
        taken = {"on": other.revision(number), "kept": _hidden(shown.text)["kept"], "reading": '["a", null, "b"]'}
        assert other.send(f"/case/{number}/log/take", **taken).status_code == 422
        assert _again(one, number, shown, **said).status_code == 200
        newer = _upload(one, second, ODD)
        assert _again(one, number, shown, **said).status_code == 422  # one log a session, the newest
        assert _again(one, second, newer, **said).status_code == 200


def test_a_log_that_was_not_kept_long_enough_is_asked_for_again_and_read_as_was_said(
    tmp_path: Path, coded: bytes
) -> None:
    """What was said of its columns is not lost: it goes along with the file; not to a log of other columns."""
    with served(tmp_path, replace(UNHURRIED, log_kept_s=2.0)) as browser:
        number = browser.demo("low_compression")
        shown = _upload(browser, number, coded)
        time.sleep(2.1)
        gone = _again(browser, number, shown, **SAID)
        assert gone.status_code == 422
        words = _plain_words(gone.text)
        assert "The log is not kept here any longer" in words and "What you said of its columns stays" in words
        form = gone.text.partition('enctype="multipart/form-data"')[2]
        along = {
            name: html.unescape(value)
            for name, value in re.findall(r'name="((?:channel|column_unit)\d+|heads)" value="([^"]*)"', form)
        }
        assert along == {"heads": _hidden(shown.text)["heads"], **SAID}
        read = _upload(browser, number, coded, **along)
        assert read.status_code == 200
        assert [each for each in _readings(read.text) if "correction" in each]
        other = _upload(browser, number, ODD, **along)
        assert other.status_code == 422 and "This log has other columns" in other.text
        assert "both said to be" not in other.text


def test_the_next_log_with_the_same_heads_is_read_as_was_said(browser: Browser, coded: bytes) -> None:
    """By the same session alone, and not one with other heads; it stands there as it was chosen, and can be left."""
    with _fresh(browser) as number:
        shown = _again(browser, number, _upload(browser, number, coded), **SAID)
        kept = dict(browser.client.cookies)
        first = _upload(browser, number, coded.replace(b"\n0.100,", b"\n0.101,"))
        assert first.status_code == 200 and "what you said of them then was taken for them" in first.text
        assert _readings(first.text) == _readings(shown.text)
        assert 'value="correction@4" selected' in first.text
        other = _upload(browser, number, coded.replace(b"A_4", b"B_4"))
        assert other.status_code == 422 and "what you said of them then" not in other.text
        last = _upload(browser, number, coded)
        assert _again(browser, number, last, **dict.fromkeys(SAID, "")).status_code == 422  # all is left: forgotten
        forgotten = _upload(browser, number, coded)
        assert forgotten.status_code == 422 and "what you said of them then" not in forgotten.text
        assert _again(browser, number, forgotten, **SAID).status_code == 200
    with _fresh(browser) as number:
        assert _upload(browser, number, coded).status_code == 422
    browser.client.cookies.clear()
    browser.client.cookies.update(kept)
    eight = browser.demo("whole_bank_silent")
    assert _upload(browser, eight, coded).status_code == 200  # at another case, too
    keeper = KeptLogs(1.0)
    for each in range(600):
        keeper.remember("a", str(each), {1: ("time", "")})
    keeper.remember("a", "599", {})
    assert list(keeper.remembered("a")) == [str(each) for each in range(100, 599)] and keeper.remembered("b") == {}


def test_one_session_has_its_log_read_again_so_often_and_no_more(browser: Browser) -> None:
    with _fresh(browser) as number:
        shown = _upload(browser, number, b"no table at all")
        assert shown.status_code == 422 and 'id="columns"' not in shown.text  # nothing to be said of columns there
        fields = {"kept": "x", "heads": "", "token": browser.token()}
        statuses = [browser.client.post(f"/case/{number}/log", data=fields).status_code for _ in range(12)]
        assert statuses[0] == 422 and statuses[-1] == 429


def _left(folder: Path) -> list[Path]:
    return [path for each in folder.glob("diag-*") for path in each.rglob("*") if path.is_file()]


@pytest.mark.parametrize("ended", [True, False], ids=["ended", "killed"])
def test_nothing_is_left_behind_by_a_server(tmp_path: Path, ended: bool) -> None:
    """One that ends takes its logs along; what a killed one leaves is cleared at the next start. Nobody else may read
    what is kept meanwhile, and a server that lives keeps its own."""
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    secret = ODD.replace(b"furlong", b"secret")
    with patch.dict(os.environ, TMPDIR=str(temporary)):
        with server(tmp_path) as running:
            with browser_at(running.address) as browser:
                number = browser.demo("low_compression")
                shown = _upload(browser, number, secret)
                assert shown.status_code == 422
                (log,) = [path for path in _left(temporary) if path.suffix == ".csv"]
                assert log.read_bytes() == secret
                assert [stat.S_IMODE(path.stat().st_mode) for path in (log, log.parent)] == [0o600, 0o700]
                with server(tmp_path):
                    assert log.exists()
                assert _again(browser, number, shown, channel1="time").status_code == 200
            if not ended:
                running.kill()
                assert log.exists()
        if not ended:
            with server(tmp_path):
                assert not log.parent.exists()
        assert _left(temporary) == []


@pytest.fixture
def logs(tmp_path: Path) -> Iterator[Callable[..., KeptLogs]]:
    """Makes keepers whose folders lie under this test's."""
    made: list[KeptLogs] = []

    def make(**how: object) -> KeptLogs:
        made.append(KeptLogs(**{"keep_s": 600.0, **how}))  # type: ignore[arg-type]
        return made[-1]

    with patch.object(tempfile, "tempdir", str(tmp_path)):
        yield make
        for each in made:
            each.close()


def _held(keeper: KeptLogs, owner: str, key: str, case: int = 1) -> bytes | None:
    with keeper.borrowed(owner, key, case) as found:
        return found.path.read_bytes() if found is not None else None


def test_a_log_goes_some_minutes_after_it_was_last_read(logs: Callable[..., KeptLogs], tmp_path: Path) -> None:
    now = [0.0]
    keeper = logs(clock=lambda: now[0])
    key = keeper.keep("a", 1, "x.csv", io.BytesIO(b"x")).key
    now[0] = 599.0
    assert _held(keeper, "a", key) == b"x"
    now[0] = 1198.0
    assert _held(keeper, "a", key) == b"x"
    now[0] = 1798.5
    assert _held(keeper, "a", key) is None
    assert [path.name for path in _left(tmp_path)] == ["lock"]


def test_a_log_goes_in_time_though_nobody_asks_again(logs: Callable[..., KeptLogs], tmp_path: Path) -> None:
    keeper = logs(keep_s=0.05)
    keeper.keep("a", 1, "x.csv", io.BytesIO(b"x"))
    assert len(_left(tmp_path)) == 2
    until = time.monotonic() + 20
    while len(_left(tmp_path)) > 1 and time.monotonic() < until:
        time.sleep(0.05)
    assert [path.name for path in _left(tmp_path)] == ["lock"]


def test_one_log_a_session_and_so_many_bytes_for_all(logs: Callable[..., KeptLogs], tmp_path: Path) -> None:
    """The oldest goes first; the newest is kept however large it is."""
    keeper = logs(most_bytes=10)
    keys = {owner: keeper.keep(owner, 1, owner, io.BytesIO(owner.encode() * 4)).key for owner in "abc"}
    assert [_held(keeper, owner, keys[owner]) for owner in "abc"] == [None, b"bbbb", b"cccc"]
    newer = keeper.keep("b", 1, "b", io.BytesIO(b"new")).key
    assert _held(keeper, "b", keys["b"]) is None and _held(keeper, "b", newer) == b"new"
    keeper.drop("b", keys["b"])  # readings of the one before were taken in another tab
    assert _held(keeper, "b", newer) == b"new"
    assert _held(keeper, "b", newer, case=2) is None and _held(keeper, "a", newer) is None
    large = keeper.keep("d", 1, "d", io.BytesIO(b"d" * 50)).key
    assert _held(keeper, "d", large) == b"d" * 50
    assert len([path for path in _left(tmp_path) if path.suffix == ".csv"]) == 1


def test_a_log_that_is_being_read_stays_until_that_is_done(logs: Callable[..., KeptLogs]) -> None:
    """Another tab of the session uploads one meanwhile."""
    keeper = logs()
    key = keeper.keep("a", 1, "x", io.BytesIO(b"old")).key
    with keeper.borrowed("a", key, 1) as found:
        assert found is not None
        keeper.keep("a", 1, "y", io.BytesIO(b"new"))
        assert found.path.read_bytes() == b"old"
    assert not found.path.exists()


def test_what_cannot_be_written_is_told_and_leaves_nothing(logs: Callable[..., KeptLogs], tmp_path: Path) -> None:
    """A full disk in the middle of it."""

    class Full(io.BytesIO):
        def read(self, _: int | None = -1, /) -> bytes:
            raise OSError(28, "No space left on device")

    keeper = logs()
    with pytest.raises(UsageError, match="could not be kept while it is read: No space left on device"):
        keeper.keep("a", 1, "x", Full())
    assert [path.name for path in _left(tmp_path)] == ["lock"]


def test_a_start_clears_what_is_left_and_nothing_else(logs: Callable[..., KeptLogs], tmp_path: Path) -> None:
    """Not what a living server keeps, no link to elsewhere, nothing of another name."""
    keeper = logs()
    key = keeper.keep("a", 1, "x", io.BytesIO(b"x")).key
    elsewhere, other = tmp_path / "elsewhere", tmp_path / "diag-other"
    for folder in (elsewhere, other, tmp_path / f"{PREFIX}left", tmp_path / f"{PREFIX}unlocked"):
        folder.mkdir()
        (folder / "log.csv").write_text("x")
    (tmp_path / f"{PREFIX}left" / "lock").touch()
    (tmp_path / f"{PREFIX}link").symlink_to(elsewhere)
    clear_left_logs(tmp_path)
    assert _held(keeper, "a", key) == b"x"
    assert (elsewhere / "log.csv").exists() and (other / "log.csv").exists()
    assert not (tmp_path / f"{PREFIX}left").exists() and not (tmp_path / f"{PREFIX}unlocked").exists()
    clear_left_logs(tmp_path / "nothing")


def test_page_and_command_line_understand_an_answer_alike() -> None:
    """Every choice of the page is the answer in words, for every engine; what the one refuses the other does."""
    for engine in KNOWLEDGE.engines.values():
        for chosen, _ in channel_choices(KNOWLEDGE, engine):
            channel, _, cylinder = chosen.partition("@")
            for unit in KNOWLEDGE.log_columns[channel].units:
                told, wrong = told_columns({3: ColumnTyped(chosen, unit)}, KNOWLEDGE, engine)
                assert not wrong
                assert told == {3: read_answer(" ".join(filter(None, (channel, cylinder, unit))), KNOWLEDGE, engine)}
    for channel, cylinder, unit in (("sped", "", ""), ("correction", "9", "mg/stroke"), ("speed", "", "bar")):
        with pytest.raises(UsageError):
            told_as(KNOWLEDGE, ENGINE, channel, cylinder, unit)
        with pytest.raises(UsageError):
            read_answer(" ".join(filter(None, (channel, cylinder, unit))), KNOWLEDGE, ENGINE)


def test_every_unit_of_every_channel_can_be_chosen_once() -> None:
    units = [unit for _, group in unit_choices(KNOWLEDGE) for unit in group]
    assert len(units) == len(set(units))
    assert set(units) == {unit for column in KNOWLEDGE.log_columns.values() for unit in column.units or [column.unit]}


@pytest.mark.parametrize(
    ("chosen", "words"),
    [("speed", "engine speed"), ("correction@2", "correction of the cylinder, cylinder 2"), ("no@2", "no@2"),
     ("correction@x", "correction of the cylinder"), ("", "")],
)  # fmt: skip
def test_a_choice_that_is_sent_once_more_stands_in_words(chosen: str, words: str) -> None:
    assert channel_words(KNOWLEDGE, chosen) == words
