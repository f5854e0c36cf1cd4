"""The report of a session, for the customer and the file: PDF, or HTML to be printed.

Made in a process of its own (`python -m logger.record.report STORE SESSION -o FILE`), as making one is heavy.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from logger.record.reader import StoreReader
from logger.record.report_data import report_data
from logger.record.report_html import report_html
from logger.record.report_pdf import report_pdf
from logger.record.report_units import units_of

FORMS = (".pdf", ".html")


def report(reader: StoreReader, session_id: str, form: str = ".pdf", units: str = "metric") -> bytes:
    """The report's bytes; the same session gives the same ones. form: ".pdf" or ".html"; units: "metric" or "us".

    Raises StoreError, UnitsError.
    """
    data, shown = report_data(reader, session_id), units_of(units)
    return report_pdf(data, shown) if form == ".pdf" else report_html(data, shown).encode()


def write_report(reader: StoreReader, session_id: str, path: Path, units: str = "metric") -> None:
    """Write it to `path`, whole or not at all; its ending chooses the form. Raises ValueError, OSError."""
    if path.suffix not in FORMS:
        raise ValueError(f"{path}: a report ends in .pdf or .html; name it so")
    content = report(reader, session_id, path.suffix, units)
    temporary = path.with_name(path.name + ".part")
    temporary.write_bytes(content)
    temporary.replace(path)


def main(argv: list[str] | None = None) -> int:
    """Exit status 0, or 2 with one line on standard error."""
    parser = argparse.ArgumentParser(prog="python -m logger.record.report", description=__doc__)
    parser.add_argument("store", type=Path)
    parser.add_argument("session")
    parser.add_argument("-o", "--output", type=Path, required=True)
    parser.add_argument("--units", choices=("metric", "us"), default="metric")
    args = parser.parse_args(argv)
    try:
        write_report(StoreReader(args.store), args.session, args.output, args.units)
    except (ValueError, OSError) as error:
        print(error, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
