"""A click group whose commands are imported when called, so that its help needs none of them."""

from collections.abc import Callable, Mapping

import click

Loader = Callable[[], click.Command]


class LazyGroup(click.Group):
    """A group with, for each command by name, its line in the help and what imports it."""

    def __init__(self, lazy: Mapping[str, tuple[str, Loader]], **attributes: object) -> None:
        super().__init__(**attributes)  # type: ignore[arg-type]  # click's own, handed through
        self.lazy = lazy

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  # click's signature
        return list(self.lazy)

    def get_command(
        self,
        ctx: click.Context,  # noqa: ARG002  # click's signature
        cmd_name: str,
    ) -> click.Command | None:
        if cmd_name not in self.lazy:
            return None
        return self.lazy[cmd_name][1]()

    def format_commands(
        self,
        ctx: click.Context,  # noqa: ARG002  # click's signature
        formatter: click.HelpFormatter,
    ) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (line, _) in self.lazy.items()])
