"""`upmast start`: a new site folder."""

from __future__ import annotations

from pathlib import Path

import typer


def register(app: typer.Typer) -> None:
    @app.command("start")
    def start(folder: Path = typer.Argument(help="Folder to be made; its name becomes the site's id.")) -> None:
        """Make a new site folder with a commented site.yaml."""
        typer.echo(str(folder))
