"""Which column is which, where the table is, whom a row speaks of: by evidence, and every loud cell heard."""
