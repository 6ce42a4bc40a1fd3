"""How the reader of wording learns: what pads print, and what each text on them speaks of."""
