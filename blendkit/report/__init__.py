"""What goes into a merge and what comes out of it, as files.

`inputs` reads a pair with its masks and finds the roles, `document` builds the report, `labels`
the label pictures, `overlays` draws everything that is laid over a picture (for command line,
batch and page alike), `bundle` writes the whole set at once.
"""

from blendkit.report.bundle import Written, target_paths, write_refusal, write_result
from blendkit.report.document import SCHEMA, Input, refusal_document, report_document
from blendkit.report.inputs import Given, Pair, read_pair
from blendkit.report.labels import box_of, flag_labels, numbered

__all__ = [
    "SCHEMA",
    "Given",
    "Input",
    "Pair",
    "Written",
    "box_of",
    "flag_labels",
    "numbered",
    "read_pair",
    "refusal_document",
    "report_document",
    "target_paths",
    "write_refusal",
    "write_result",
]
