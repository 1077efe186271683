"""A group of commands that are loaded and built when they are asked for, not before.

Building a command reads its signature and its types, and loading its module costs more; a person
waits for both. So a group knows its commands by name and home only. And options that were not
given, or that are text as they stand, are not sent through typer's conversion, whose library takes
longer to load than all the rest of a command that lists something.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator, Mapping, MutableMapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup


class LateCommands(MutableMapping[str, Any]):
    """Commands by name; each is loaded from its home, ``module:name``, at first use."""

    def __init__(self, homes: Mapping[str, str], built: Mapping[str, Any]) -> None:
        self._homes = dict(homes)
        self._built = dict(built)

    def __getitem__(self, name: str) -> Any:
        if name not in self._built:
            self._built[name] = _build(name, self._homes[name])
        return self._built[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._built[name] = command

    def __delitem__(self, name: str) -> None:
        if self._homes.pop(name, None) is None and name not in self._built:
            raise KeyError(name)
        self._built.pop(name, None)

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys([*self._homes, *self._built]))

    def __len__(self) -> int:
        return len({*self._homes, *self._built})

    def __contains__(self, name: object) -> bool:
        return name in self._homes or name in self._built


def late_group(homes: Mapping[str, str]) -> type[TyperGroup]:
    """The class of a group with these commands, for ``typer.Typer(cls=...)``.

    ``homes`` maps a command's name to ``module:name`` of its function or of a `typer.Typer`.
    Commands that are registered in the usual way come after them.
    """

    class LateGroup(TyperGroup):
        def __init__(self, **given: Any) -> None:
            super().__init__(**given)
            self.commands = LateCommands(homes, self.commands)

        def get_params(self, ctx: Any) -> list[Any]:
            return ease(super().get_params(ctx))

        def format_commands(self, ctx: Any, formatter: Any) -> None:
            whole = self.commands  # a list of what they do needs no built commands
            self.commands = {name: _described(name, homes.get(name), whole) for name in whole}
            try:
                super().format_commands(ctx, formatter)
            finally:
                self.commands = whole

        def list_commands(self, ctx: Any) -> list[str]:
            return list(self.commands)

    return LateGroup


class LateCommand(TyperCommand):
    """A command whose options pass without conversion where they need none."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Its options and arguments, and the one for help."""
        return ease(super().get_params(ctx))


def ease(params: list[Any]) -> list[Any]:
    """Let an option that was not given, or that is text as it stands, pass without conversion."""
    for param in params:
        if not param.required and param.nargs == 1 and not getattr(param, "multiple", False):
            vars(param)["process_value"] = _eased(param, type(param).process_value)
    return params


def _eased(param: Any, convert: Callable[[Any, Any, Any], Any]) -> Callable[[Any, Any], Any]:
    is_text = getattr(getattr(param, "type_descriptor", None), "annotation", None) is str

    def process_value(ctx: Any, value: Any) -> Any:
        as_it_is = value is None or isinstance(value, bool) or (is_text and isinstance(value, str))
        if as_it_is:
            return value if param.callback is None else param.callback(ctx, param, value)
        return convert(param, ctx, value)

    return process_value


def _described(name: str, home: str | None, whole: Mapping[str, Any]) -> Any:
    if home is None:
        return whole[name]
    thing = _load(home)
    text = thing.info.help if isinstance(thing, typer.Typer) else inspect.getdoc(thing)
    return TyperCommand(name=name, help=str(text or ""))


def _load(home: str) -> Any:
    module, _, attribute = home.partition(":")
    return getattr(import_module(module), attribute)


def _build(name: str, home: str) -> Any:
    thing = _load(home)
    holder = typer.Typer(add_completion=False, rich_markup_mode=None)
    holder.callback()(_nothing)
    if isinstance(thing, typer.Typer):
        holder.add_typer(thing, name=name)
    else:
        holder.command(name, cls=LateCommand)(thing)
    command: Any = typer.main.get_command(holder)
    built = command.commands[name]
    for one in _leaves(built):
        one.params.append(_all_warnings())
    return built


def _leaves(built: Any) -> Iterator[Any]:
    """The commands that can print warnings; late ones are built by themselves."""
    if any(param.name == "as_json" for param in built.params):
        yield built
    commands = getattr(built, "commands", {})
    if not isinstance(commands, LateCommands):
        for command in commands.values():
            yield from _leaves(command)


def _all_warnings() -> Any:
    """The option --all-warnings, which every command that prints warnings has."""

    def show_all(wanted: bool) -> None:
        from calib.cli.output import screen

        screen.all_warnings = wanted

    def holder(
        all_warnings: bool = typer.Option(
            False, "--all-warnings", callback=show_all, expose_value=False,
            help="Print every warning of every row; without it, one line a kind.",
        ),
    ) -> None:  # fmt: skip
        """Only its option is of use."""

    donor = typer.Typer(add_completion=False, rich_markup_mode=None)
    donor.command()(holder)
    return typer.main.get_command(donor).params[0]


def _nothing() -> None:
    """A callback makes the holder a group, whatever it holds."""
