# The page: upkeep.
upkeep = Looking after it
