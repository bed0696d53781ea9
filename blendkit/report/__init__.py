"""What a merge hands over besides the picture: report, label pictures, overlays, preview.

`document` builds the report, `labels` the label pictures, `overlays` draws everything that is laid
over a picture (for command line, batch and page alike), `bundle` writes the whole set at once.
"""

from blendkit.report.bundle import Written, target_paths, write_refusal, write_result
from blendkit.report.document import SCHEMA, Input, refusal_document, report_document
from blendkit.report.labels import box_of, flag_labels, numbered

__all__ = [
    "SCHEMA",
    "Input",
    "Written",
    "box_of",
    "flag_labels",
    "numbered",
    "refusal_document",
    "report_document",
    "target_paths",
    "write_refusal",
    "write_result",
]
