"""What a plan starts from: the lens, the sensor, what stands where, the two frames in mind."""

import math
from dataclasses import MISSING, dataclass

from blendkit.errors import InputError
from blendkit.optics import circle_of_confusion_mm, pixel_pitch_mm, print_circle_of_confusion_mm
from blendkit.optics.bracket import USUAL_STOPPED
from blendkit.optics.checks import MM_PER_M
from blendkit.plan.wording import aperture, distance
from blendkit.settings import ViewingSettings, check, option

NEAREST_M = 0.01
PIXELS_ACROSS = 6000
"""Width of the picture in px where none is given: a camera of 24 megapixels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Lens, sensor, distances, and the two frames the photographer has in mind.

    Distances count from the lens.  f-numbers are as engraved.  None = not given: f/16 for the
    stopped frame or the wide one's if that is past it, no foreground, the background at infinity,
    both frames focused on the subject, the conventional circle of confusion, 6000 px across.

    Raises
    ------
    InputError
        A value outside its range, distances in the wrong order, or two frames that are the same.
    """

    focal_length_mm: float = option(MISSING, "focal length", unit="mm", low=1, high=5000)
    subject_at_m: float = option(MISSING, "distance of the subject", unit="m", low=NEAREST_M)
    wide_f_number: float = option(
        MISSING, "f-number of the wide (background) frame", low=0.5, high=128
    )
    stopped_f_number: float = option(
        None,
        "f-number of the stopped (foreground) frame; none: 16, or the wide one's if past that",
        low=0.5,
        high=128,
    )
    foreground_at_m: float | None = option(
        None, "distance of the foreground that shall be sharp", unit="m", low=NEAREST_M
    )
    background_at_m: float | None = option(
        None, "distance of the background; none: infinity", unit="m", low=NEAREST_M
    )
    focus_wide_m: float | None = option(
        None, "focus of the wide frame; none: the subject", unit="m", low=NEAREST_M
    )
    focus_stopped_m: float | None = option(
        None, "focus of the stopped frame; none: the subject", unit="m", low=NEAREST_M
    )
    sensor_mm: tuple[float, float] = option(
        (36.0, 24.0),
        "sensor: full-frame (default), aps-c, four-thirds, 44x33, or its width x height",
        unit="mm",
    )
    coc_mm: float | None = option(
        None, "circle of confusion; none: the picture's diagonal/1500", unit="mm", low=1e-4, high=10
    )
    print_cm: tuple[float, float] | None = option(None, "print, width x height", unit="cm")
    viewing_cm: float | None = option(
        None, "distance the print is seen from; none: 50", unit="cm", low=5, high=5000
    )
    pixels: tuple[int, int] | None = option(
        None, "picture, width x height; none: 6000 across; upright: 4000x6000", unit="px"
    )
    pupil: float = option(
        1.0, "pupil magnification, exit over entrance pupil; none: 1", low=0.05, high=20
    )
    sway_mm_s: float | None = option(
        None, "how fast the sitter or a twig moves", unit="mm/s", low=1e-3, high=1e5
    )
    exposure_time_s: float | None = option(
        None, "shutter time of the wide frame", unit="s", low=1e-6, high=1e5
    )
    iso: float | None = option(None, "ISO of the wide frame", low=1, high=1e7)

    def __post_init__(self) -> None:
        """Settle the stopped frame's f-number, check ranges, then order."""
        if self.stopped_f_number is None:
            stopped = max(USUAL_STOPPED, self.wide_f_number)
            object.__setattr__(self, "stopped_f_number", stopped)
        check(self)
        self._check_sizes()
        self._check_distances()
        self._check_frames()

    @property
    def background_m(self) -> float:
        """Distance of the background, inf if none was given."""
        return math.inf if self.background_at_m is None else self.background_at_m

    @property
    def wide_focus_m(self) -> float:
        """Focus distance of the wide frame."""
        return self.subject_at_m if self.focus_wide_m is None else self.focus_wide_m

    @property
    def stopped_focus_m(self) -> float:
        """Focus distance of the stopped frame."""
        return self.subject_at_m if self.focus_stopped_m is None else self.focus_stopped_m

    @property
    def turned_sensor_mm(self) -> tuple[float, float]:
        """Sensor (width, height) in mm, turned as the picture in px is."""
        width, height = self.sensor_mm
        turned = self.pixels is not None and (self.pixels[0] < self.pixels[1]) != (width < height)
        return (height, width) if turned else (width, height)

    @property
    def held_mm(self) -> tuple[float, float]:
        """(width, height) in mm of the sensor's part that the picture covers, turned as it is."""
        if self.pixels is None:
            return self.sensor_mm
        across, down = self.pixels
        return across * self.pixel_pitch_mm, down * self.pixel_pitch_mm

    @property
    def pixel_pitch_mm(self) -> float:
        """Distance between pixels on the sensor in mm."""
        if self.pixels is None:
            return max(self.sensor_mm) / PIXELS_ACROSS
        return pixel_pitch_mm(self.sensor_mm, self.pixels)

    @property
    def circle_of_confusion_mm(self) -> float:
        """Largest blur disc that counts as sharp: given, for the print, or by convention."""
        if self.coc_mm is not None:
            return self.coc_mm
        if self.print_cm is None:
            return circle_of_confusion_mm(self.held_mm)
        viewing = ViewingSettings().viewing_cm if self.viewing_cm is None else self.viewing_cm
        return print_circle_of_confusion_mm(
            self.held_mm, print_cm=self.print_cm, viewing_cm=viewing
        )

    def _check_sizes(self) -> None:
        sizes = {"sensor_mm": self.sensor_mm, "print_cm": self.print_cm, "pixels": self.pixels}
        for name, size in sizes.items():
            if size is not None and not all(0 < side < 1e6 for side in size):
                raise InputError(f"{name} = {size[0]:g}x{size[1]:g}: both sides must be above 0")
        if self.print_cm is None and self.viewing_cm is not None:
            raise InputError(f"viewing_cm = {self.viewing_cm:g}: also give the print's size")
        if self.print_cm is not None and self.coc_mm is not None:
            raise InputError(f"coc_mm = {self.coc_mm:g}: give it or the print's size, not both")

    def _check_distances(self) -> None:
        for name in ("foreground_at_m", "subject_at_m", "focus_wide_m", "focus_stopped_m"):
            value = getattr(self, name)
            if value is not None and not value * MM_PER_M > self.focal_length_mm:
                raise InputError(
                    f"{name} = {value:g}: must lie beyond the focal length,"
                    f" {self.focal_length_mm / MM_PER_M:g} m"
                )
        subject = self.subject_at_m
        if math.isinf(subject):
            raise InputError("subject_at_m = inf: give the subject a distance, such as 4m")
        if self.foreground_at_m is not None and not self.foreground_at_m < subject:
            raise InputError(
                f"foreground_at_m = {self.foreground_at_m:g}: must lie in front of the subject,"
                f" nearer than {subject:g} m"
            )
        if not self.background_m > subject:
            raise InputError(
                f"background_at_m = {self.background_m:g}: must lie behind the subject,"
                f" farther than {subject:g} m"
            )

    def _check_frames(self) -> None:
        if self.stopped_f_number < self.wide_f_number:
            raise InputError(
                f"stopped_f_number = {self.stopped_f_number:g}: must not be below wide_f_number ="
                f" {self.wide_f_number:g}; exchange the two or stop down further"
            )
        same = self.stopped_f_number == self.wide_f_number
        if same and self.stopped_focus_m == self.wide_focus_m:
            raise InputError(
                f"both frames are {aperture(self.wide_f_number)} focused at"
                f" {distance(self.wide_focus_m)}: give them two f-numbers or two focus distances"
            )
