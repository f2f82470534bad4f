"""portviz: where the air leaves the valve, from flow-bench readings."""

__version__ = "0.1.0"
