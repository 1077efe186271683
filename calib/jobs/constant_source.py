"""The registry as the source of constants that calculations ask."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib.registry.errors import RegistryError

if TYPE_CHECKING:
    from calib.registry import Registry
    from calib.run_model.rise import Loss


class RegistryConstants:
    """Answers from an open registry."""

    def __init__(self, registry: Registry) -> None:
        self._registry = registry

    def loss_of(self, apparatus: str) -> Loss | None:
        """The cup's loss conductance from its constant in force, or None."""
        from calib.run_model.rise import Loss

        try:
            stored = self._registry.constant_for(apparatus)
        except RegistryError:
            return None
        if stored.heat_loss_W_per_K is None or stored.u_heat_loss_W_per_K is None:
            return None
        return Loss(stored.heat_loss_W_per_K, stored.u_heat_loss_W_per_K)

    def constant_of(self, apparatus: str) -> tuple[float, float] | None:
        """The cup's constant in force with its u [J/K], or None."""
        try:
            stored = self._registry.constant_for(apparatus)
        except RegistryError:
            return None
        return stored.constant_J_per_K, stored.u_constant_J_per_K
