"""Progress of long work, on the error stream and only where a person sees it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Tell = Callable[[str, int, int], None]


@contextmanager
def progress(wanted: bool = True) -> Iterator[Tell]:
    """Gives a function to be told the step, how much is done and of how many; a bar on a terminal, silence elsewhere."""
    if not wanted or not sys.stderr.isatty():
        yield lambda step, done, of: None
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    from upmast.cli.show import console

    columns = (
        TextColumn("{task.description:12}"),
        BarColumn(),
        TextColumn("{task.completed}/{task.total}"),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=console(error=True), transient=True) as bar:
        task = bar.add_task("", total=1)
        yield lambda step, done, of: bar.update(task, description=step, completed=done, total=max(of, 1))
