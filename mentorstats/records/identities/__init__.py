"""People under codes: replaced on the way in, and looked for in everything else that would be kept.

``private`` is the folder with the list of codes, which only its owner may read; ``codes`` gives codes to
names, ``people`` says which cells of a sheet are people, ``known`` finds names in other texts, ``screen``
stops where one slipped through, ``weeks`` makes days coarser, ``local`` is the whole way around a load.
"""
