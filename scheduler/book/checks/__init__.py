"""What must hold across the tables of a farm book (faults), and what a grower should look at (doubts)."""
