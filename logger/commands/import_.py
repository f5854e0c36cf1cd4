"""Take a recording into the store, whole or not at all. The same recording a second time changes nothing."""

from __future__ import annotations

import argparse

from logger.paths import add_data_argument, store_path

HELP = "take a recording into the store"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("recording", metavar="RECORDING", help="a recording's folder or zip")
    add_data_argument(parser)


def run(args: argparse.Namespace) -> int:
    from logger.record.container_booking import book_session
    from logger.record.errors import StoreBusyError
    from logger.record.importing import add_recording, digest_of, is_known
    from logger.record.recording import read_recording
    from logger.record.store import Store
    from logger.replay import replay

    recording = read_recording(args.recording)
    try:
        store = Store.open(store_path(args.data))
    except StoreBusyError as error:
        raise ValueError(
            f"{args.recording}: not taken in, as the logger (process {error.holder}) works on {args.data}: "
            "bring it in on its page /sessions, or stop the logger first"
        ) from None
    try:
        if is_known(store, recording, digest_of(recording)):
            print(f"{recording.session_id}: was here already, nothing changed")
            return 0
        findings = replay(recording)
        add_recording(store, recording, findings)
        unbooked = book_session(store, recording.session_id, findings, recording.session["started_utc"])
    finally:
        store.close()
    print(f"{recording.session_id}: taken in")
    for line in unbooked:
        print(f"not booked  {line}")
    return 0
