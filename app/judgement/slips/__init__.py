"""Another unit, or a slip of the pen: what is asked before an entry is kept."""
