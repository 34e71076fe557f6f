"""The service's log on stderr: one line an event, `time=… level=… …`, tracebacks in a file."""

from __future__ import annotations

import json
import logging
import sys
import threading
import time

from .trace import write_trace


class KeyValue(logging.Formatter):
    """Lines of key=value. A message that isn't yet made of them stands under `event`."""

    def format(self, record: logging.LogRecord) -> str:
        """One line, whatever the record holds."""
        when = time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(record.created))
        said = " ".join(record.getMessage().split())
        first = said.partition(" ")[0]
        if "=" not in first:
            # `ready bench=lake` is an event with its fields; a sentence is an event as a whole.
            said = (
                f"event={said}" if "=" in said and first.isascii() else f"event={json.dumps(said, ensure_ascii=False)}"
            )
        line = f"time={when}.{int(record.msecs):03d}Z level={record.levelname.lower()} {said}"
        if record.exc_info and record.exc_info[1] is not None:
            fault = record.exc_info[1]
            text = json.dumps(f"{type(fault).__name__}: {fault}", ensure_ascii=False)
            line += f" fault={text} trace={write_trace(fault)}"
        return line


def to_stderr(*, quiet: bool) -> None:
    """Send the log of this process to stderr, faults of its threads too."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(KeyValue())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING if quiet else logging.INFO)
    threading.excepthook = _thread_fault


def _thread_fault(args: threading.ExceptHookArgs) -> None:
    fault = args.exc_value
    if fault is not None:
        name = args.thread.name if args.thread is not None else "?"
        logging.getLogger("thwart").critical(
            "fault thread=%s", json.dumps(name), exc_info=(type(fault), fault, fault.__traceback__)
        )
