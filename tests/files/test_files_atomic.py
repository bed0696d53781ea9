"""A result appears whole or not at all, and never in the place of an input."""

import errno
import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from blendkit.errors import InputError, OutputError
from blendkit.files import atomic, check_output, write_grey, write_labels, write_picture
from blendkit.frame import Frame

PICTURE = Frame(np.full((40, 50, 3), 0.25, np.float32))


def _fail_half_way(target: Path) -> None:
    with atomic(target) as temporary:
        temporary.write_bytes(b"half")
        assert temporary.parent == target.parent
        assert target.read_bytes() == b"old"
        raise ZeroDivisionError


def test_the_old_file_stays_when_writing_fails(tmp_path: Path) -> None:
    target = tmp_path / "r.tif"
    target.write_bytes(b"old")
    with pytest.raises(ZeroDivisionError):
        _fail_half_way(target)
    assert target.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [target]


def test_the_new_file_has_ordinary_permissions(tmp_path: Path) -> None:
    with atomic(tmp_path / "r.txt") as temporary:
        temporary.write_text("x")
    umask = os.umask(0)
    os.umask(umask)
    assert (tmp_path / "r.txt").stat().st_mode & 0o777 == 0o666 & ~umask


def test_a_link_stays_and_what_it_leads_to_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "large").mkdir()
    real, link = tmp_path / "large" / "gate.tif", tmp_path / "r.tif"
    link.symlink_to("large/gate.tif")
    for text in ("first", "second"):
        with atomic(link) as temporary:
            assert temporary.parent == real.parent  # it can be renamed there alone
            temporary.write_text(text)
        assert link.is_symlink()
        assert real.read_text() == text
    gone = tmp_path / "gone.tif"
    gone.symlink_to("nowhere/gate.tif")
    with pytest.raises(OutputError, match=r"gone\.tif: the folder does not exist"):
        check_output(gone)
    with pytest.raises(OutputError, match=r"r\.tif: names the input"):
        check_output(link, [real])


def test_a_full_disk_is_one_line_and_leaves_nothing(tmp_path: Path) -> None:
    full = OSError(errno.ENOSPC, "No space left on device")
    said = pytest.raises(OutputError, match=r"r\.tif: the disk is full: free some space")
    with said, atomic(tmp_path / "r.tif"):
        raise full
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(not hasattr(signal, "SIGXFSZ"), reason="needs a limit on file sizes")
@pytest.mark.parametrize("name", ["r.tif", "r.png", "r.jpg"])
def test_the_writers_themselves_meet_a_disk_that_ends(tmp_path: Path, name: str) -> None:
    script = (
        "import resource, signal, sys, numpy as np\n"
        "from blendkit.errors import OutputError\n"
        "from blendkit.files import write_picture\n"
        "from blendkit.frame import Frame\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (20000, 20000))\n"
        "noise = np.random.default_rng(0).random((200, 300, 3), dtype=np.float32)\n"
        "try:\n"
        "    write_picture(sys.argv[1], noise, like=Frame(noise))\n"
        "except OutputError as error:\n"
        "    print(error)\n"
    )
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] == resource.RLIM_INFINITY
    run = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path / name)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert run.stdout.count("\n") == 1
    assert "choose another folder" in run.stdout
    assert run.stderr == ""
    assert not list(tmp_path.iterdir())


def test_folders_that_are_missing_or_are_files(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="folder does not exist"):
        check_output(tmp_path / "no" / "r.tif")
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="folder does not exist"):
        check_output(tmp_path / "file" / "r.tif")
    with pytest.raises(OutputError, match="name a file in it"):
        check_output(tmp_path)


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_without_permission(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="cannot be written"):
        check_output(tmp_path / "r.tif")
    tmp_path.chmod(0o700)


@pytest.mark.parametrize("link", ["same", "symlink", "hard link", "dots", "linked folder"])
def test_an_input_is_never_overwritten(tmp_path: Path, link: str) -> None:
    (tmp_path / "sub").mkdir()
    source = tmp_path / "a.tif"
    source.write_bytes(b"precious")
    target = tmp_path / "b.tif"
    if link == "same":
        target = source
    elif link == "symlink":
        target.symlink_to(source)
    elif link == "hard link":
        target.hardlink_to(source)
    elif link == "dots":
        target = tmp_path / "sub" / ".." / "a.tif"
    else:
        (tmp_path / "other").symlink_to(tmp_path)
        target = tmp_path / "other" / "a.tif"
    with pytest.raises(OutputError, match=r"names the input .*choose another output name"):
        write_picture(target, PICTURE.pixels, like=PICTURE, inputs=[source])
    assert source.read_bytes() == b"precious"


def test_names_and_depths_that_are_not_written(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"name a \.tif"):
        write_picture(tmp_path / "r.gif", PICTURE.pixels, like=PICTURE)
    with pytest.raises(InputError, match="16 bits cannot be stored"):
        write_picture(tmp_path / "r.jpg", PICTURE.pixels, like=PICTURE, bits=16)
    with pytest.raises(InputError, match=r"as \.tif or \.png"):
        write_grey(tmp_path / "r.jpg", PICTURE.pixels[..., 0], bits=8)
    with pytest.raises(OutputError, match=r"\.png"):
        write_labels(tmp_path / "r.tif", np.zeros((3, 3), np.uint8))
    assert not list(tmp_path.iterdir())
