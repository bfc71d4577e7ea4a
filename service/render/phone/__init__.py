"""The card on a phone: what stands on each screen, its words and figures, and the pages with their script."""
