"""How things are said to the reader: figures, facts, measures, programmes, and where a number's method stands."""
