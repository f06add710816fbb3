# La page : tracing.
tracing = Où c'est allé
