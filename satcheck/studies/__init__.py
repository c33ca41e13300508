"""A shop's own studies: a table or a row of records in, a frozen result and its meaning out."""
