# La page : recalls.
recalls = Rappels
