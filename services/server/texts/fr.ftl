# Tous les textes des pages, en français.

language-name = Français

caution = Voici ce qui a été noté. Cela n'exclut rien : ce qui n'a pas été noté, ou l'a été à tort, n'y figure pas. Demandez à la personne responsable et dites-le au client ; les règles locales décident.

skip = Aller à la page
signed-in-as = Connecté : { $name }
sign-out = Se déconnecter
pages = Pages
page-counter = Comptoir
other-language = Langue

sign-in = Connexion
sign-in-login = Identifiant
sign-in-password = Mot de passe
sign-in-do = Se connecter
sign-in-over = Connectez-vous ; la page demandée suivra.

wrong = Cela n'a pas marché
wrong-back = Retour
wrong-field = À vérifier : { $field }
wrong-request = Pour la personne qui s'en occupe : requête { $id }

counter-where = À quel comptoir êtes-vous ?
counter-nowhere = Vous n'avez de rôle sur aucun site : demandez au propriétaire.

counter = Comptoir : { $site }
avoid = Que doit éviter le client ?
avoid-more = Un seul fruit à coque, une seule céréale, autre
avoid-show = Montrer
avoid-clear = Client suivant
avoid-nothing = Touchez tout ce que le client nomme. Rien n'est répondu avant.
find = Un seul bac : scannez-le ou tapez son numéro
find-do = Chercher
find-all = Tout ce qui est ouvert
open-here = Ouverts dans la vitrine
open-none = Rien n'est ouvert ici.
as-of = À { $time }, écriture { $entry } du journal
served-shared = Une seule spatule sert tous les bacs : ce qui est dans l'un peut être dans les autres.
served-own = Chaque bac a sa spatule.
served-not-said = Personne n'a dit comment ce site sert : on suppose une seule spatule pour tous.
answer-contains = Contient : { $what }
answer-may_contain = Peut contenir : { $what }
answer-unknown = On ne sait pas : { $what }
answer-not_recorded = Rien n'est noté : { $what }
because = Pourquoi
members = En détail
tub-number = Bac { $number }
do-not-serve = Ne pas servir
held = Bloqué : { $reason }
recalled = Rappelé (rappel { $recalls })
rejected = Refusé : { $reason }
empty-it = Il est vide
open-it = L'ouvrir
put-aside = Laissez-le où il est, et demandez.
shelf = En réserve ici
shelf-none = Aucun bac en réserve ici.
shelf-more = Il y en a d'autres : scannez celui que vous tenez.
grams-left = { $kilograms } kg d'après le livre
last-day-best_before = de préférence avant le { $day }
last-day-use_by = à consommer jusqu'au { $day }

stale = Pas à jour
stale-why = Cette page a perdu le contact avec la maison et ne montre donc aucune réponse. Demandez à la personne responsable ; ne répondez pas de mémoire.
stale-again = Réessayer
no-script = Cette page ne suit pas les changements d'elle-même : rechargez-la avant chaque réponse.

gluten_cereals = céréales contenant du gluten
tree_nuts = fruits à coque
walnuts = noix
wheat = blé
rye = seigle
barley = orge
oats = avoine
triticale = triticale
crustaceans = crustacés
molluscs = mollusques
fish = poisson
egg = œuf
milk = lait
peanut = arachide
soy = soja
almond = amande
hazelnut = noisette
walnut = noix commune
black_walnut = noix noire
california_walnut = noix de Californie
heartnut = noix du Japon
cashew = noix de cajou
pecan = noix de pécan
brazil_nut = noix du Brésil
pistachio = pistache
macadamia = noix de macadamia
pine_nut = pignon
celery = céleri
mustard = moutarde
sesame = sésame
lupin = lupin
sulphites = sulfites
coconut = noix de coco
chestnut = châtaigne
buckwheat = sarrasin
alcohol = alcool
unspecified_gluten_cereal = céréale contenant du gluten, sorte non précisée
unspecified_tree_nut = fruit à coque, sorte non précisée
