# La page : delivery.
delivery = Une livraison
