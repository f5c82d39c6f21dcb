"""Bad input, faults and kills: short as tests, long as ``python -m tests.faults``."""
