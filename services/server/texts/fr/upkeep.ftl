# La page : upkeep.
upkeep = Entretien
