"""Formulas, with no notion of a batch: floats and arrays in, floats and arrays out; one chapter a file."""
