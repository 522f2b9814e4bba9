"""What a plan is. A finished plan is plain data: readable, comparable, and complete enough to be audited alone."""
