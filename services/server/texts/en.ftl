# Every text of the pages, in English. Another language is another file with the same names.

language-name = English

# Beside every answer about allergens.
caution = This is what was written down. It clears nothing: what was not written down, or wrongly, is not in it. Ask the responsible person, and tell the customer so; local rules decide.

# Around every page.
skip = To the page itself
signed-in-as = Signed in: { $name }
sign-out = Sign out
pages = Pages
page-counter = Counter
other-language = Language

# Coming in.
sign-in = Sign in
sign-in-login = Login
sign-in-password = Password
sign-in-do = Sign in
sign-in-over = Please sign in; what you wanted comes next.

# Something went wrong.
wrong = That did not work
wrong-back = Back
wrong-field = Look at: { $field }
wrong-request = For whoever looks after this: request { $id }

# Where.
counter-where = Which counter are you at?
counter-nowhere = You have no role at any site: ask the owner.

# The counter.
counter = Counter: { $site }
avoid = What must the customer avoid?
avoid-more = One kind of nut, cereal or other
avoid-show = Show
avoid-clear = Next customer
avoid-nothing = Tap everything the customer names. Nothing is answered before.
find = One tub: scan it or type its number
find-do = Look
find-all = All that stands open
open-here = Open in the case
open-none = Nothing stands open here.
as-of = As of { $time }, entry { $entry } of the journal
served-shared = One scoop serves all tubs: what is in one may be in the others.
served-own = Each tub has its own scoop.
served-not-said = Nobody has said how this site serves: one scoop is taken to serve all.
answer-contains = Contains { $what }
answer-may_contain = May contain { $what }
answer-unknown = Not known: { $what }
answer-not_recorded = Nothing recorded: { $what }
because = Why
members = In detail
tub-number = Tub { $number }
do-not-serve = Do not serve
held = On hold: { $reason }
recalled = Recalled (recall { $recalls })
rejected = Turned away: { $reason }
empty-it = It is empty
open-it = Open it
put-aside = Leave it where it is, and ask.
shelf = On the shelf here
shelf-none = No tub lies on the shelf here.
shelf-more = There are more: scan the one in your hand.
grams-left = { $kilograms } kg by the book
last-day-best_before = best before { $day }
last-day-use_by = use by { $day }

# When the page does not know whether it is still true.
stale = Not current
stale-why = This page has lost touch with the house, so it shows no answer. Ask the responsible person; do not answer from memory.
stale-again = Try again
no-script = This page does not follow changes by itself: load it again before every answer.

# What can be avoided.
gluten_cereals = cereals with gluten
tree_nuts = tree nuts
walnuts = walnuts
wheat = wheat
rye = rye
barley = barley
oats = oats
triticale = triticale
crustaceans = crustaceans
molluscs = molluscs
fish = fish
egg = egg
milk = milk
peanut = peanut
soy = soy
almond = almond
hazelnut = hazelnut
walnut = walnut
black_walnut = black walnut
california_walnut = California walnut
heartnut = heartnut
cashew = cashew
pecan = pecan
brazil_nut = brazil nut
pistachio = pistachio
macadamia = macadamia
pine_nut = pine nut
celery = celery
mustard = mustard
sesame = sesame
lupin = lupin
sulphites = sulphites
coconut = coconut
chestnut = chestnut
buckwheat = buckwheat
alcohol = alcohol
unspecified_gluten_cereal = cereal with gluten, kind not stated
unspecified_tree_nut = tree nut, kind not stated
