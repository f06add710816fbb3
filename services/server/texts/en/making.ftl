# The page: making.
making = Making
