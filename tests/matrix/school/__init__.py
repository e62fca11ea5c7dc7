"""The school that the matrix is about."""
