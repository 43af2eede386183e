"""From a control to an output: which response is told."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Link:
    """From a control to an output; ``inverse`` where what is told is control over output."""

    kind: str
    """``duty``, ``input``, ``zout`` or ``zin``."""
    output: str
    control: str
    unit: str
    """Of what is told: ``V``, ``1``, ``ohm`` ..."""
    inverse: bool = False

    @property
    def key(self) -> tuple[str, str]:
        """Output and control."""
        return self.output, self.control
