# The page: recalls.
recalls = Recalls
