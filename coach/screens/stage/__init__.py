"""The stage: the page on which a block is played, with its tab, words, verdict and rest."""
