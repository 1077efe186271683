"""One call of the command in this process, and what must never come of one."""

from __future__ import annotations

import contextlib
import io
import json
import os
import sys
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SLOW_S = 5.0


@dataclass
class Done:
    """What one call gave: exit code (None: it did not end as a command does), streams, seconds."""

    code: int | None
    out: bytes
    err: bytes
    seconds: float
    stack: str = ""
    faults: list[str] = field(default_factory=list)


def call(words: list[str], registry: Path) -> Done:
    """One call of the command in this process, its streams caught."""
    from calib.cli.main import main

    out, err = io.BytesIO(), io.BytesIO()
    streams = [io.TextIOWrapper(one, "utf-8", write_through=True) for one in (out, err)]
    before, argv = os.environ.get("CUPLEDGER_REGISTRY"), sys.argv
    os.environ["CUPLEDGER_REGISTRY"], sys.argv = str(registry), ["cupledger", *words]
    started, code, stack = time.process_time(), None, ""
    try:
        with contextlib.redirect_stdout(streams[0]), contextlib.redirect_stderr(streams[1]):
            try:
                main()
                code = 0
            except SystemExit as end:
                code = end.code if isinstance(end.code, int) else int(end.code is not None)
            except Exception:
                stack = traceback.format_exc()
    finally:
        sys.argv = argv
        if before is None:
            del os.environ["CUPLEDGER_REGISTRY"]
        else:
            os.environ["CUPLEDGER_REGISTRY"] = before
    done = Done(code, out.getvalue(), err.getvalue(), time.process_time() - started, stack)
    done.faults = list(_faults(done, "--json" in words))
    return done


def _faults(done: Done, as_json: bool) -> Iterator[str]:
    texts = []
    for raw in (done.out, done.err):
        try:
            texts.append(raw.decode("utf-8"))
        except UnicodeDecodeError:
            yield "not UTF-8"
            texts.append(raw.decode("utf-8", "replace"))
    out, err = texts
    if "went wrong inside" in out + err or "needs more memory" in out + err or "Warning:" in err:
        yield "internal"
    if done.code is None or "Traceback (most" in out + err:
        yield "traceback"
    if done.code not in (0, 1) and not any(
        w in err.casefold() for w in ("error", "not used", "usage")
    ):
        yield "silent"
    if done.seconds > SLOW_S:
        yield "slow"
    if as_json and done.code in (0, 1):
        try:
            if not isinstance(json.loads(out, parse_constant=_no_number), dict):
                yield "no JSON"
        except ValueError:
            yield "no JSON"


def _no_number(text: str) -> float:
    raise ValueError(text)
