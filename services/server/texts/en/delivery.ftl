# The page: delivery.
delivery = A delivery
