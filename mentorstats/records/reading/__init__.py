"""Files as sheets of text: CSV, workbooks and Parquet read alike, each row knowing where it stands."""
