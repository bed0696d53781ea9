"""The list of checksums beside delivered files."""

import multiprocessing
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from blendkit.errors import InputError
from blendkit.files.checksums import listed, sha256, update_list


@pytest.mark.skipif(os.name != "posix", reason="names that other systems do not take")
def test_odd_names_are_escaped_as_sha256sum_does(tmp_path: Path) -> None:
    names = ["a\nb.jpg", "a\\nb.jpg", "plain.jpg", "c\rd.jpg"]
    for name in names:
        (tmp_path / name).write_bytes(name.encode())
        update_list(tmp_path, [(name, sha256(tmp_path / name))])
    assert [listed(tmp_path / name) for name in names] == [sha256(tmp_path / n) for n in names]
    program = shutil.which("sha256sum")
    if program is not None:
        command = [program, "--check", "--strict", "checksums.sha256"]
        assert subprocess.run(command, cwd=tmp_path, check=False).returncode == 0


def test_the_checksum_list_keeps_what_it_had(tmp_path: Path) -> None:
    update_list(tmp_path, [("b.jpg", "1" * 64), ("a.jpg", "2" * 64)])
    update_list(tmp_path, [("b.jpg", "3" * 64)])
    lines = (tmp_path / "checksums.sha256").read_text().splitlines()
    assert lines == ["2" * 64 + "  a.jpg", "3" * 64 + "  b.jpg"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes that begin at once")
def test_two_who_deliver_into_one_folder_lose_no_line_of_the_list(tmp_path: Path) -> None:
    context = multiprocessing.get_context("fork")
    both = [context.Process(target=_deliver_twenty, args=(tmp_path, name)) for name in "ab"]
    for process in both:
        process.start()
    for process in both:
        process.join(60)
        assert process.exitcode == 0
    assert len((tmp_path / "checksums.sha256").read_text().splitlines()) == 40


def _deliver_twenty(folder: Path, name: str) -> None:
    for number in range(20):
        update_list(folder, [(f"{name}{number}.jpg", "1" * 64)])


def test_the_checksum_list_takes_names_that_are_not_utf_8(tmp_path: Path) -> None:
    odd = os.fsdecode(b"b\xe9.jpg")
    listed = update_list(tmp_path, [(odd, "1" * 64)])
    update_list(tmp_path, [("a.jpg", "2" * 64)])
    one, other = b"1" * 64, b"2" * 64
    assert listed.read_bytes() == other + b"  a.jpg\n" + one + b"  b\xe9.jpg\n"
    listed.write_bytes(b"\xef\xbb\xbf" + one + b" *a.jpg\r\n")  # of another system
    update_list(tmp_path, [("c.jpg", "2" * 64)])
    assert listed.read_bytes() == one + b"  a.jpg\n" + other + b"  c.jpg\n"


@pytest.mark.parametrize("text", ["a note\n", "1234  short.jpg\n", "\0\1\2"])
def test_what_is_no_checksum_list_is_kept(tmp_path: Path, text: str) -> None:
    (tmp_path / "checksums.sha256").write_text(text)
    with pytest.raises(InputError, match="is not a checksum list; move it away"):
        update_list(tmp_path, [("a.jpg", "2" * 64)])
    assert (tmp_path / "checksums.sha256").read_text() == text
