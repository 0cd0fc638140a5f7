"""Plug-in: our commands behind those of rasterio and fiona, ``rio leadline``, ``fio leadline``."""

import click

from toolbox.cli import main

__all__ = ["leadline"]


@click.command("leadline", add_help_option=False, context_settings={"ignore_unknown_options": True})
@click.argument("arguments", nargs=-1, type=click.UNPROCESSED)
@click.pass_context
def leadline(context: click.Context, arguments: tuple[str, ...]) -> None:
    """Lake beds from soundings: layers, tables and volume."""
    context.exit(main(list(arguments), program=context.command_path))
