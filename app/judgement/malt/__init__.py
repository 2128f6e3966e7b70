"""The malt that came of it: how dry, how tested, and whether anything holds it back from being food."""
