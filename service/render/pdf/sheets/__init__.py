"""The sheets of a job laid out on paper: one box of 188 x 257 mm for A4 and Letter, black on white."""
