"""Reads the emitted files back and reckons with them, knowing nothing of the generator."""
