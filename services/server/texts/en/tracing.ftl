# The page: tracing.
tracing = Where it went
