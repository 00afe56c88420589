"""The stage, where one plays, with its words, verdict and rest."""
