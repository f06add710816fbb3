# La page : making.
making = Fabrication
