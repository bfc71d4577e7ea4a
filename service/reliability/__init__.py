"""Statistics of lives and replacements: pure, vectorised over groups, numpy and scipy.special only."""
