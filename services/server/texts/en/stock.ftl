# The page: stock.
stock = In the house: { $site }
