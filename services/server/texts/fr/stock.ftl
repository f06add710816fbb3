# La page : stock.
stock = Dans la maison : { $site }
