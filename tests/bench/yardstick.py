"""The merge beside a yardstick on the same files: wall time and peak memory of a process each.

    python tests/bench/yardstick.py --megapixels 12,24
    python tests/bench/yardstick.py --megapixels 24 --own-disc 1.3

The yardstick does far less: it reads two 16-bit TIFFs, aligns by affine ECC at quarter size (30
iterations), warps by cubics, matches the gain, blends a 7-level mask pyramid in float32 and writes
a 16-bit TIFF, all by calls of OpenCV and tifffile.  The pair is one of 1200 x 800 px, enlarged:
what counts is the size, how much of it is painted (10 to 20 %), and whether the foreground frame
shows the boughs sharp.  Two apertures at one focus leave them a disc of 9 px of the 1200, and the
matte is then sought in a smaller picture.  Both run by turns, and the quickest of each counts: the
first run after the files were written is slower, whichever it is.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import click
import cv2
import numpy as np
import tifffile

from blendkit.files import write_picture
from blendkit.frame import Frame
from blendkit.simulate import SCENES, PairSpec, make_pair
from blendkit.simulate.rough_mask import rough_mask

_LEVELS = 7
_SCENE, _SEED = "thick_boughs", 1
_DISC_PX = 52.0
_MEASURED = """
import json, pathlib, sys, time
begin = time.perf_counter()
{body}
status = pathlib.Path("/proc/self/status").read_text()
peak = int(status.split("VmHWM:")[1].split()[0]) * 1024  # ru_maxrss holds the parent's too
print(json.dumps({{"time_s": time.perf_counter() - begin, "peak": peak}}))
"""
_READ_AND_WARP = """
import cv2, numpy, tifffile
frames = [tifffile.imread(path).astype(numpy.float32) / 65535 for path in {files!r}]
size = frames[0].shape[1::-1]
cv2.warpAffine(frames[1], numpy.eye(2, 3), size, flags=cv2.INTER_CUBIC)
"""


def yardstick(background: Path, foreground: Path, mask: Path, out: Path) -> None:
    """Align, warp, match, blend and write with plain calls."""
    wide, stopped = (
        tifffile.imread(p).astype(np.float32) / 65535 for p in (background, foreground)
    )
    painted = cv2.imread(str(mask), cv2.IMREAD_GRAYSCALE).astype(np.float32) / 255
    quarter = [
        cv2.resize(cv2.cvtColor(p, cv2.COLOR_RGB2GRAY), None, fx=0.25, fy=0.25)
        for p in (wide, stopped)
    ]
    warp = np.eye(2, 3, dtype=np.float32)
    criteria = (cv2.TERM_CRITERIA_COUNT, 30, 0)
    cv2.findTransformECC(quarter[0], quarter[1], warp, cv2.MOTION_AFFINE, criteria, None, 5)
    warp[:, 2] *= 4
    size = (wide.shape[1], wide.shape[0])
    moved = cv2.warpAffine(stopped, warp, size, flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP)
    moved *= wide.mean() / moved.mean()
    stacks = []
    for picture in (wide, moved, painted):
        stack = [picture]
        for _ in range(_LEVELS - 1):
            stack.append(cv2.pyrDown(stack[-1]))
        stacks.append(stack)
    result = None
    for a, b, m in reversed(list(zip(*stacks, strict=True))):
        share = m[..., None]
        if result is None:
            result = share * b + (1 - share) * a
            smaller = (a, b)
            continue
        here = (a.shape[1], a.shape[0])
        low, high = (p - cv2.pyrUp(s, dstsize=here) for p, s in zip((a, b), smaller, strict=True))
        result = cv2.pyrUp(result, dstsize=here) + share * high + (1 - share) * low
        smaller = (a, b)
    tifffile.imwrite(out, np.uint16(np.clip(result, 0, 1) * 65535 + 0.5), photometric="rgb")


def make_files(folder: Path, megapixels: float, own_disc_px: float | None) -> list[Path]:
    """Write a pair and a rough mask of about this size; return background, foreground, mask.

    own_disc_px: of the boughs in the foreground frame, px of 1200; None as one focus leaves it.
    """
    small = (1200, 800)
    discs = None if own_disc_px is None else (_DISC_PX, own_disc_px)
    spec = PairSpec(seed=_SEED, shift_px=(6, -4), foreground_disc_px=discs)
    pair = make_pair(SCENES[_SCENE](_SEED, small), spec)
    painted = rough_mask(pair.truth.matte, seed=_SEED)
    factor = float(np.sqrt(megapixels * 1e6 / (small[0] * small[1])))
    size = (round(small[0] * factor), round(small[1] * factor))
    rng = np.random.default_rng(1)
    paths = []
    for name, frame in (("wide", pair.background), ("stopped", pair.foreground)):
        large = cv2.resize(frame.pixels, size, interpolation=cv2.INTER_CUBIC)
        large += rng.normal(0, 0.002, large.shape).astype(np.float32)
        paths.append(folder / f"{name}.tif")
        pixels = np.clip(large, 0, 1)
        write_picture(paths[-1], pixels, like=Frame(pixels, frame.capture, name))
    paths.append(folder / "painted.png")
    cv2.imwrite(str(paths[-1]), np.uint8(255 * (cv2.resize(painted, size) > 0.5)))
    print(f"{size[0]} x {size[1]} px, {100 * painted.mean():.0f} % painted", flush=True)
    return paths


def measured(body: str) -> dict[str, float]:
    """Run a body in a fresh process; return wall time, s, and peak memory, bytes."""
    done = subprocess.run(
        [sys.executable, "-c", _MEASURED.format(body=body)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode:
        raise SystemExit(done.stderr)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def _by_turns(bodies: list[str], folder: Path, runs: int) -> list[dict[str, float]]:
    """Run bodies one after the other, so many times; return the quickest run of each."""
    seen: list[list[dict[str, float]]] = [[] for _ in bodies]
    os.sync()
    for _ in range(runs):
        for body, found in zip(bodies, seen, strict=True):
            for old in folder.glob("m.*"):
                old.unlink()
            found.append(measured(body))
    return [min(found, key=lambda one: one["time_s"]) for found in seen]


@click.command()
@click.option("--megapixels", default="12,24", help="sizes, by comma")
@click.option("--runs", default=2, help="how often both are run")
@click.option("--own-disc", type=float, help="of the boughs in the foreground frame, px of 1200")
def main(megapixels: str, runs: int, own_disc: float | None) -> None:
    """Print both ratios and the merge's stages for every size."""
    here = str(Path(__file__).parent)
    for size in megapixels.split(","):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            wide, stopped, mask = make_files(folder, float(size), own_disc)
            files = ", ".join(f"Path({str(p)!r})" for p in (wide, stopped, mask, folder / "y.tif"))
            plainly = (
                f"import sys; sys.path.insert(0, {here!r})\nfrom pathlib import Path\n"
                f"from yardstick import yardstick\nyardstick({files})"
            )
            arguments = [
                "merge", str(wide), str(stopped), "-o", str(folder / "m.tif"),
                "--foreground-mask", str(mask),
            ]  # fmt: skip
            merging = (
                f"from blendkit.cli.main import main\nmain({arguments!r}, standalone_mode=False)"
            )
            plain, merge = _by_turns([plainly, merging], folder, runs)
            report = json.loads((folder / "m.report.json").read_text())
            print(
                f"{size} MP: yardstick {plain['time_s']:.1f} s, {plain['peak'] / 2**30:.2f} GiB; "
                f"merge {merge['time_s']:.1f} s, {merge['peak'] / 2**30:.2f} GiB; ratios "
                f"{merge['time_s'] / plain['time_s']:.1f}, {merge['peak'] / plain['peak']:.2f}; "
                f"{merge['time_s'] / float(size):.2f} s a megapixel"
            )
            preview = measured(
                f"from blendkit.cli.main import main\n"
                f"main({[*arguments, '--preview']!r}, standalone_mode=False)"
            )
            reading = measured(_READ_AND_WARP.format(files=[str(wide), str(stopped)]))
            ratio = report["time_s"]["alignment"] / reading["time_s"]
            print(
                f"  preview {preview['time_s']:.1f} s, "
                f"{preview['time_s'] / plain['time_s']:.2f} yardsticks; alignment "
                f"{ratio:.1f} times reading both frames and one cubic warp"
            )
            stages = ", ".join(f"{stage} {s:.1f}" for stage, s in report["time_s"].items())
            print(f"  stages, s: {stages}", flush=True)


if __name__ == "__main__":
    main()
