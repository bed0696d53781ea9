"""What is decided and painted is kept: at once, whole, and by several pages at a time."""

import json
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from blendkit.errors import InputError, OutputError
from blendkit.masks.strokes import Stroke, strokes_document
from blendkit.report.asked import Asked
from blendkit.report.handwork import handwork
from blendkit.report.mending import modes_of
from blendkit.review.fields import setting_fields
from blendkit.review.folder import PairFiles, pairs_in
from blendkit.review.reason import order_of, reason_for
from blendkit.review.state import PairState, strokes_of
from blendkit.review.work import Task, merge_in_full
from blendkit.sidecar import Sidecar, read_sidecar, sidecar_path, write_sidecar

SIZE = (300, 200)


def dab(x: float, role: str = "foreground") -> Stroke:
    return Stroke(((x, 20.0),), 12.0, role)


@pytest.fixture
def state(shoot: Path) -> PairState:
    return PairState(next(pair for pair in pairs_in(shoot) if pair.name == "calm"))


def reopened(state: PairState) -> PairState:
    return PairState(state.files)


def test_every_change_is_on_the_disk_before_it_is_answered(state: PairState) -> None:
    state.paint([dab(10)], SIZE)
    assert read_sidecar(state.path).strokes == (dab(10),)
    state.decide("sent-back")
    assert read_sidecar(state.path).decision == "sent-back"
    state.tie([[[1, 2], [3, 4]]])
    assert read_sidecar(state.path).ties == (((1.0, 2.0), (3.0, 4.0)),)
    state.set({"discs.disc_px": 41})
    assert read_sidecar(state.path).settings == {"discs": {"disc_px": 41}}
    again = reopened(state)
    assert again.history.now == (dab(10),)
    assert again.sidecar.decision == "sent-back"
    assert again.settings.discs.disc_px == 41


def test_undo_and_redo_have_no_limit(state: PairState) -> None:
    for k in range(120):
        state.paint([dab(k), dab(k, "erase")], SIZE)
    for _ in range(120):
        state.undo(SIZE)
    assert state.history.now == ()
    assert not state.history.can_undo
    assert read_sidecar(state.path).strokes == ()
    for _ in range(119):
        state.redo(SIZE)
    assert len(state.history.now) == 238
    state.paint([dab(1, "background")], SIZE)
    assert not state.history.can_redo
    assert read_sidecar(state.path).strokes[-1].role == "background"


def test_strokes_of_an_earlier_day_can_be_undone_one_by_one(state: PairState) -> None:
    state.paint([dab(1), dab(2), dab(3)], SIZE)
    again = reopened(state)
    again.undo(SIZE)
    assert again.history.now == (dab(1), dab(2))


def test_two_pages_at_once_lose_nothing(state: PairState) -> None:
    def page(first: int) -> None:
        for k in range(20):
            state.paint([dab(first + k)], SIZE)
            state.decide("skipped" if k % 2 else "open")

    threads = [threading.Thread(target=page, args=(100 * n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    kept = {stroke.points[0][0] for stroke in read_sidecar(state.path).strokes}
    assert kept == {float(100 * n + k) for n in range(4) for k in range(20)}
    assert not list(state.path.parent.glob(".*.part*"))


def test_what_another_program_wrote_is_taken_up_first(state: PairState) -> None:
    state.paint([dab(1)], SIZE)
    theirs = Sidecar(size=SIZE, strokes=(dab(7), dab(8)), decision="sent-back")
    write_sidecar(state.path, theirs)
    state.paint([dab(9)], SIZE)
    kept = read_sidecar(state.path)
    assert kept.strokes == (dab(7), dab(8), dab(9))
    assert kept.decision == "sent-back"


def test_a_damaged_sidecar_is_named_and_never_overwritten(state: PairState) -> None:
    state.path.write_text('{"schema": "blendkit.sidecar/1", "strokes"')
    damaged = reopened(state)
    assert "calm.blendkit.json" in damaged.trouble
    with pytest.raises(InputError, match="move it away"):
        damaged.decide("accepted")
    assert state.path.read_text().endswith('"strokes"')


@pytest.mark.parametrize(
    "strokes",
    [
        None,
        {},
        [1],
        [{"points": [], "diameter_px": 3, "role": "foreground"}],
        [{"points": [[1, 2, 3]], "diameter_px": 3, "role": "foreground"}],
        [{"points": [[1, float("nan")]], "diameter_px": 3, "role": "foreground"}],
        [{"points": [[1, 2]], "diameter_px": 0, "role": "foreground"}],
        [{"points": [[1, 2]], "diameter_px": True, "role": "foreground"}],
        [{"points": [[1, 2]], "diameter_px": 3, "role": "sky"}],
        [{"points": [[1e9, 2]], "diameter_px": 3, "role": "erase"}],
        [{"points": "12", "diameter_px": 3, "role": "erase"}],
    ],
)
def test_strokes_that_are_none_are_refused(strokes: object) -> None:
    with pytest.raises(InputError, match="stroke"):
        strokes_of(strokes, SIZE)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"discs.nothing": 1}, "no setting"),
        ({"nothing": 1}, "no setting"),
        ({"discs.disc_px": "wide"}, "number"),
        ({"discs.disc_px": -4}, "allowed is 1 to 2000"),
        ({"grain.match": 3}, "true or false"),
        ([], "by name"),
    ],
)
def test_settings_out_of_range_are_refused_and_not_kept(
    state: PairState, values: object, words: str
) -> None:
    with pytest.raises(InputError, match=words):
        state.set(values)
    assert not state.path.exists()


def test_a_setting_that_is_the_default_again_is_no_override(state: PairState) -> None:
    state.set({"discs.disc_px": 40, "grain.match": False})
    state.set({"discs.disc_px": None, "grain.match": True})
    assert read_sidecar(state.path).settings == {}


def test_a_result_is_stale_once_something_was_painted_and_fresh_after_a_merge(
    state: PairState,
) -> None:
    assert not state.stale
    state.decide("accepted")
    assert not state.stale
    state.paint([dab(1)], SIZE)
    assert state.stale
    with pytest.raises(InputError, match="merge again and look"):
        state.decide("accepted")
    state.undo(SIZE)
    state.decide("accepted")
    assert not state.stale
    state.paint([dab(2)], SIZE)
    state.result_changed(state.work())
    assert not state.stale


def test_what_needs_a_look_comes_first() -> None:
    def report(*severities: str) -> dict:
        return {"flags": [{"severity": s, "message": s} for s in severities]}

    loud = reason_for(report("note", "fail", "warn"), merged=True)
    assert (loud.sentence, loud.severity) == ("fail", "fail")
    quiet = reason_for(report("note"), merged=True)
    calm = reason_for(report(), merged=True)
    keys = [
        order_of(loud, open_=True),
        order_of(quiet, open_=True),
        order_of(calm, open_=True),
        order_of(loud, open_=False),
    ]
    assert keys == sorted(keys)
    assert len(set(keys)) == 4


def test_frames_outside_the_folder_are_not_looked_at_unless_their_folder_is_named(
    shoot: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    report = shoot / "calm.report.json"
    for name in ("calm-wide.tif", "calm-stopped.tif"):
        (shoot / name).rename(elsewhere / name)
        report.write_text(report.read_text().replace(str(shoot / name), str(elsewhere / name)))
    assert [pair.name for pair in pairs_in(shoot)] == ["loud"]
    assert [pair.name for pair in pairs_in(shoot, frames=[elsewhere])] == ["calm", "loud"]
    (shoot / "loud.report.json").unlink()
    with pytest.raises(InputError, match=str(elsewhere)):
        pairs_in(shoot)


def test_in_a_moved_folder_a_result_is_not_taken_for_its_background_frame(
    shoot: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """A batch calls a result after its background frame; the frames' folder is named."""
    now = tmp_path_factory.mktemp("now")
    results = now / "results"
    results.mkdir()
    for old, new in (("calm-wide.tif", "calm.tif"), ("calm-stopped.tif", "calm-stopped.tif")):
        (shoot / old).rename(now / new)
    (shoot / "calm.tif").rename(results / "calm.tif")
    report = results / "calm.report.json"
    said = (shoot / "calm.report.json").read_text().replace("calm-wide.tif", "calm.tif")
    report.write_text(said)
    (pair,) = pairs_in(results, frames=[now])
    assert pair.background == now / "calm.tif"
    state = PairState(pair)
    state.decide("sent-back")
    assert read_sidecar(state.path).inputs["background"] == "../calm.tif"
    (again,) = pairs_in(now)
    assert again.background == now / "calm.tif", "by its sidecar"
    state.path.unlink()
    with pytest.raises(
        InputError, match=r": calm\.tif is in no folder .*; put it back, or name its folder"
    ):
        pairs_in(results)


def test_frames_without_results_are_paired_and_a_list_of_pairs_is_obeyed(shoot: Path) -> None:
    for path in (
        *shoot.glob("*.report.json"),
        *shoot.glob("*.png"),
        shoot / "calm.tif",
        shoot / "loud.tif",
    ):
        path.unlink()
    (shoot / "pairs.toml").write_text(
        '[[pair]]\nname = "mine"\nbackground = "loud-wide.tif"\nforeground = "loud-stopped.tif"\n'
        "[pair.settings.discs]\ndisc_px = 17.0\n"
        '[[pair]]\nname = "not-this"\nskip = true\n'
        'background = "calm-wide.tif"\nforeground = "calm-stopped.tif"\n'
    )
    (pair,) = pairs_in(shoot)
    assert isinstance(pair, PairFiles)
    assert (pair.name, pair.result.name) == ("mine", "mine.tif")
    state = PairState(pair)
    assert state.settings.discs.disc_px == 17.0
    assert not state.merged
    state.decide("skipped")
    written = json.loads(sidecar_path(pair.result).read_text())
    assert written["inputs"]["background"] == "../loud-wide.tif"


def made_with(state: PairState, work: str) -> None:
    """Write into the result's report what it was made with."""
    report = state.files.report
    document = json.loads(report.read_text())
    document["output"]["asked"] = {"handwork": work}
    report.write_text(json.dumps(document))


def test_a_result_older_than_its_strokes_is_not_accepted_the_next_day_either(
    state: PairState,
) -> None:
    made_with(state, handwork(*state.work()))
    state.paint([dab(10)], SIZE)
    again = reopened(state)
    assert again.stale
    with pytest.raises(InputError, match="merge again"):
        again.decide("accepted")
    made_with(state, handwork(*state.work()))  # as `blendkit merge` with the sidecar would
    assert not again.stale
    again.decide("accepted")
    again.result_changed(again.work())
    assert read_sidecar(state.path).decision == "open", "nobody has seen the new one"


def test_accepting_takes_no_strokes_over_from_a_file(state: PairState, tmp_path: Path) -> None:
    file = tmp_path / "strokes.json"
    file.write_text(json.dumps(strokes_document([dab(5)], SIZE)))
    listed = PairState(replace(state.files, strokes=file))
    assert listed.history.now == (dab(5),)
    listed.decide("sent-back")
    assert read_sidecar(listed.path).size is None
    listed.paint([dab(9)], SIZE)
    assert read_sidecar(listed.path).strokes == (dab(5), dab(9))


def test_settings_given_to_the_merge_are_shown_and_can_be_changed_back(state: PairState) -> None:
    asked = Asked({"discs": {"disc_px": 40}})
    given = PairState(replace(state.files, asked=asked, listed=True))

    def field() -> dict:
        fields = setting_fields(given.settings, given.files.settings)
        return next(one for one in fields if one["name"] == "discs.disc_px")

    assert (field()["value"], field()["default"], field()["step"]) == (40, 40, 0)
    given.set({"discs.disc_px": 55.5})
    assert field()["value"] == given.settings.discs.disc_px == 55.5
    given.set({"discs.disc_px": 40})
    assert given.sidecar.settings == {}
    given.set({"viewing.print_width_cm": 90})
    given.set({"viewing.print_width_cm": 60})
    assert given.settings.viewing.print_width_cm == 60


def test_a_stroke_that_cannot_be_kept_is_not_shown(
    state: PairState, monkeypatch: pytest.MonkeyPatch
) -> None:
    state.paint([dab(1)], SIZE)

    def full(*_: object) -> None:
        raise OutputError("the disk is full")

    monkeypatch.setattr("blendkit.review.state.write_sidecar", full)
    with pytest.raises(OutputError):
        state.paint([dab(2)], SIZE)
    assert state.history.now == (dab(1),)


def test_a_pair_that_uses_anothers_masks_is_merged_by_the_batch(state: PairState) -> None:
    borrowed = PairState(replace(state.files, asked=Asked(lent_by="gate")))
    task = Task(borrowed.files, *borrowed.work())
    with pytest.raises(InputError, match="painted for gate: run `blendkit batch`"):
        merge_in_full(task, lambda *_: None)


def test_another_result_than_the_one_that_was_looked_at_is_not_accepted(state: PairState) -> None:
    seen = state.revision
    made_with(state, handwork(*state.work()))  # as a batch would, with the page open
    with pytest.raises(InputError, match="look again"):
        state.decide("accepted", seen)
    state.decide("accepted", state.revision)
    state.files.result.unlink()
    with pytest.raises(InputError, match="merge it first"):
        state.decide("accepted")


def test_strokes_of_another_size_are_told_and_not_mixed_with_new_ones(state: PairState) -> None:
    width, height = SIZE
    write_sidecar(state.path, Sidecar(size=(2 * width, 2 * height), strokes=(dab(500),)))
    state.refresh()
    assert "painted at 600 x 400 px" in state.trouble
    before = state.path.read_bytes()
    with pytest.raises(InputError, match="600 x 400"):
        state.paint([dab(1)], SIZE)
    assert state.path.read_bytes() == before


def test_a_repair_kept_makes_the_result_stale_and_one_is_kept_at_a_time(state: PairState) -> None:
    made_with(state, handwork(*state.work()))
    state.repaired("soft-midground", "taper")
    assert state.stale
    state.repaired("blur-step", "extend")
    assert state.repairs == ("extend",)
    made_with(state, handwork(*state.work(), state.repairs))
    assert not state.stale
    state.repaired("soft-midground", "bridge")
    assert state.repairs == (), "no frames for it"


def test_a_bridge_that_could_not_be_read_does_not_make_a_result_stale(state: PairState) -> None:
    """The list named it and the batch told of it; the report names what was read."""
    made_with(state, handwork(*state.work(), ("bridge",)))
    assert not state.stale
    state.decide("accepted")
    state.repaired("soft-midground", "taper")
    assert state.stale


def test_a_repair_is_taken_back_whoever_asked_for_it(state: PairState) -> None:
    state.files = replace(
        state.files, listed=True, asked=replace(state.files.asked, repair="taper")
    )
    assert state.repairs == ("taper",)
    made_with(state, handwork(*state.work(), state.repairs))
    state.take_repair_back()
    assert state.repairs == ()
    assert state.stale, "the result still has it"
    assert modes_of(read_sidecar(state.path).repairs, (), "taper") == (), "merge and batch agree"
    state.repaired("soft-midground", "extend")
    assert state.repairs == ("extend",)
