"""Which pairs of a folder the page shows, and what is said of the others."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from blendkit.cli.main import main
from blendkit.errors import InputError
from blendkit.review import serve
from blendkit.review.folder import not_shown, pairs_in
from blendkit.review.state import PairState
from blendkit.sidecar import Sidecar, read_sidecar, sidecar_path, write_sidecar


class Silent:
    """A server that serves nobody."""

    def __init__(self, *_: object, **__: object) -> None:
        pass

    def run(self, *_: object) -> None:
        """End at once."""


def failed(name: str, reason: str) -> dict[str, str]:
    return {"name": name, "status": "failed", "reason": reason}


def test_what_the_page_leaves_out_is_told(
    shoot: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    assert not_shown(shoot) == []
    summary = [failed("torn", "torn.tif: is damaged; export it again"), failed("loud", "before")]
    (shoot / "summary.json").write_text(json.dumps({"pairs": summary}))
    (torn,) = not_shown(shoot)  # the other has been merged since
    assert torn == "torn is not shown: torn.tif: is damaged; export it again"
    away = tmp_path_factory.mktemp("away")
    for name in ("calm-stopped.tif", "calm-wide.tif"):
        (shoot / name).rename(away / name)
        moved, _ = not_shown(shoot)
        assert moved == (
            f"a result of calm-wide.tif is not shown: {name} is in no folder that may be looked "
            f"into (it was in {shoot}); put it back, or name its folder after this one"
        )
        (away / name).rename(shoot / name)
    (shoot / "calm-wide.tif").unlink()
    moved, _ = not_shown(shoot)
    assert all(str(shoot.parent) not in one for one in not_shown(shoot, places=False))
    (shoot / "summary.json").write_text("no JSON")
    assert not_shown(shoot) == [moved]


def test_the_command_tells_it_before_the_page_opens(
    shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (shoot / "summary.json").write_text(json.dumps({"pairs": [failed("torn", "is damaged")]}))
    monkeypatch.setattr(serve, "Server", Silent)
    done = CliRunner().invoke(main, ["review", str(shoot), "--no-browser"])
    assert done.exit_code == 0, done.output
    assert "torn is not shown: is damaged" in done.stderr


def test_a_folder_of_which_only_foreground_frames_are_missing_says_so(shoot: Path) -> None:
    for name in ("calm", "loud"):
        (shoot / f"{name}-stopped.tif").unlink()
    with pytest.raises(InputError) as caught:
        pairs_in(shoot)
    assert str(caught.value) == (
        f"{shoot}: calm-stopped.tif is in no folder that may be looked into (it was in {shoot}); "
        "put it back, or name its folder after this one"
    )


def test_a_pair_listed_by_rendered_files_is_the_one_merged_from_their_raws(shoot: Path) -> None:
    pytest.importorskip("rawpy")
    rendered = [shoot / "calm-wide.tif", shoot / "calm-stopped.tif"]
    report = shoot / "calm.report.json"
    for path in rendered:
        raw = path.with_suffix(".dng")
        raw.write_bytes(b"a RAW without a time of capture")
        report.write_text(report.read_text().replace(str(path), str(raw)))
    third = {name: shoot / f"{name}.tif" for name in ("aside", "middle")}
    for path in third.values():
        path.write_bytes(rendered[0].read_bytes())
    (shoot / "pairs.toml").write_text(
        'schema = "blendkit.pairs/1"\nfolder = "."\n[[pair]]\nname = "calm"\n'
        'background = "calm-wide.tif"\nforeground = "calm-stopped.tif"\n'
        'clear = "aside.tif"\nbridges = ["middle.tif"]\n'
        "[pair.settings.discs]\ndisc_px = 40\n"
        '[[pair]]\nname = "later"\nbackground = "middle.tif"\nforeground = "aside.tif"\n'
    )
    pairs = pairs_in(shoot)
    assert [pair.name for pair in pairs] == ["calm", "later", "loud"]
    calm = pairs[0]
    assert calm.background == rendered[0].with_suffix(".dng").resolve()
    assert (calm.clear, calm.bridges) == (third["aside"].resolve(), (third["middle"].resolve(),))
    assert calm.settings.discs.disc_px == 40


def on_two_cards(shoot: Path, root: Path) -> list[Path]:
    """Give the pairs' frames one name each on two cards, and move the cards; return the cards."""
    cards = []
    for name in ("calm", "loud"):
        card = root / "originals" / f"card-{name}"
        card.mkdir(parents=True)
        report = shoot / f"{name}.report.json"
        said = report.read_text()
        for kind in ("wide", "stopped"):
            shutil.move(shoot / f"{name}-{kind}.tif", card / f"{kind}.tif")
            was = root / "once" / f"card-{name}" / f"{kind}.tif"
            said = said.replace(str(shoot / f"{name}-{kind}.tif"), str(was))
        report.write_text(said)
        cards.append(card)
    return cards


def test_frames_of_one_name_on_two_cards_are_told_apart_by_their_folders(
    shoot: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    cards = on_two_cards(shoot, tmp_path_factory.mktemp("moved"))
    for frames in (cards, cards[::-1]):
        for pair in pairs_in(shoot, frames=frames):
            assert pair.background.parent.name == pair.foreground.parent.name == f"card-{pair.name}"
    others = [card.rename(card.with_name(f"other-{k}")) for k, card in enumerate(cards)]
    with pytest.raises(InputError, match="is in no folder that may be looked into"):
        pairs_in(shoot, frames=others)
    shutil.rmtree(others[1])
    shutil.copytree(others[0], others[1])
    assert len(pairs_in(shoot, frames=others)) == 2, "copies are one frame"


def listed(shoot: Path, *pairs: str) -> None:
    head = 'schema = "blendkit.pairs/1"\nfolder = "."\n'
    (shoot / "pairs.toml").write_text(head + "".join(f"[[pair]]\n{pair}\n" for pair in pairs))


def test_where_a_list_names_a_pair_its_files_are_the_lists_alone(shoot: Path) -> None:
    for name in ("better", "aside", "mask"):
        (shoot / f"{name}.tif").write_bytes((shoot / "calm-stopped.tif").read_bytes())
    report = shoot / "calm.report.json"
    document = json.loads(report.read_text())
    for role, name in (("clear", "aside"), ("foreground-mask", "mask")):
        document["inputs"].append({"path": str(shoot / f"{name}.tif"), "role": role})
    report.write_text(json.dumps(document))
    calm = 'name = "calm"\nbackground = "calm-wide.tif"\nforeground = '
    helped = '"calm-stopped.tif"\nclear = "aside.tif"\nforeground_mask = "mask.tif"'
    listed(shoot, calm + helped)
    same = PairState(pairs_in(shoot)[0])
    assert same.files.masks == {"foreground_mask": (shoot / "mask.tif").resolve()}
    assert not same.stale
    listed(shoot, calm + '"better.tif"')
    changed = PairState(pairs_in(shoot)[0])
    assert changed.files.foreground.name == "better.tif"
    assert (changed.files.clear, dict(changed.files.masks)) == (None, {})
    assert changed.stale
    with pytest.raises(InputError, match="merge again"):
        changed.decide("accepted")
    document["inputs"][1:] = [{"path": str(shoot / "better.tif"), "role": "foreground"}]
    report.write_text(json.dumps(document))  # merged again
    changed.refresh()
    assert not changed.stale


def test_two_pairs_of_one_background_frame_stay_apart(shoot: Path) -> None:
    frames = 'background = "calm-wide.tif"\nforeground = "calm-stopped.tif"'
    wider = f'name = "calm-f4"\n{frames}\n[pair.settings.aperture]\nbackground_f = 4.0'
    listed(shoot, f'name = "calm"\n{frames}', wider)
    calm, other, _ = pairs_in(shoot)
    assert (calm.name, calm.settings.aperture.background_f) == ("calm", None)
    assert (other.name, other.settings.aperture.background_f) == ("calm-f4", 4.0)
    assert (PairState(calm).merged, PairState(other).merged) == (True, False)


def test_the_page_keeps_what_a_sidecar_names(shoot: Path) -> None:
    """A folder that is moved is found by it: clear frame, masks and strokes too."""
    calm = pairs_in(shoot)[0]
    named = {"background": "calm-wide.tif", "foreground": "x.tif", "clear": "aside/c.tif"}
    write_sidecar(sidecar_path(calm.result), Sidecar(inputs=named))
    masks = {"foreground_mask": shoot / "aside" / "mask.png"}
    PairState(replace(calm, masks=masks)).decide("sent-back")
    assert read_sidecar(sidecar_path(calm.result)).inputs == {
        **named, "foreground": "calm-stopped.tif", "foreground-mask": "aside/mask.png",
    }  # fmt: skip
