"""Tables to take along: answers and measurements as CSV or Parquet, with dictionary and digest."""
