"""An invented air-conditioning shop, simulated from a seed: its fleet, its visits, its paperwork and its mess.

``simulate`` gives clean frames in canonical field names and the truth behind them, for any number of units;
``python -m sample_exports.generator`` writes the CSV exports that are committed beside this folder.
Every law and figure here is an engineering guess for a demonstration, not field data.
"""

from sample_exports.generator.simulate import simulate

__all__ = ["simulate"]
