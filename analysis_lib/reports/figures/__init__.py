"""Drawing for ring studies: results and Axes in, ink out; nothing is computed here."""
