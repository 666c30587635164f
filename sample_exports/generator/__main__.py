"""Write the sample exports: ``python -m sample_exports.generator`` from the top of the repository."""

from __future__ import annotations

from pathlib import Path

from sample_exports.generator import poor, simulate, write
from sample_exports.generator.simulate import SEED

HERE = Path(__file__).resolve().parent.parent


def main() -> None:
    """Simulate both shops and write their files and the truth about them."""
    files, faults = write.rich_shop(simulate(), SEED)
    write.save(HERE, files)
    poor_files, poor_truth = poor.poor_shop(SEED)
    write.save(HERE / ".notes_only_shop", poor_files)
    write.save(HERE / ".truth", {"faults.csv": write.faults_csv(faults)} | poor_truth)
    print(f"{len(files)} files, {sum(map(len, files.values())) / 1e6:.2f} MB, {len(faults)} known faults")


main()
