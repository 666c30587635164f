"""Trade arithmetic on frames: saturation, superheat, charge, capacitor series and drift."""
