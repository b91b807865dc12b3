"""What `verify` says, in English and in Spanish: plain words, and no promise."""

from typing import Any

from server.client.language import language

# What doesn't hold, by the names that server.client.evidence gives it.
WRONG = {
    "misshapen": (
        "Part of the file isn't written as it should be, from there on nothing could be checked.",
        "Una parte del archivo no está escrita como debe; a partir de ahí no se pudo revisar nada.",
    ),
    "other_farm": (
        "Entry {entry} holds a row of another farm.",
        "El registro {entry} contiene una fila de otra lechería.",
    ),
    "link": (
        "Entry {entry} ({moment}) doesn't follow the one before it, or was changed.",
        "El registro {entry} ({moment}) no sigue al anterior, o fue cambiado.",
    ),
    "rows": (
        "The rows of entry {entry} ({moment}) are not what was recorded then.",
        "Las filas del registro {entry} ({moment}) no son las que se anotaron entonces.",
    ),
    "rows_gone": (
        "The rows of entry {entry} ({moment}) were left out of the file.",
        "Las filas del registro {entry} ({moment}) faltan en el archivo.",
    ),
    "no_entry": (
        "There are rows of entry {entry}, and no such entry.",
        "Hay filas del registro {entry}, y ese registro no existe.",
    ),
    "signature": (
        "The signature of {day} is wrong.",
        "La firma del {day} no es válida.",
    ),
    "other_key": (
        "{day} was signed with a key that you didn't give ({key}...). Give it too: --key may stand several times.",
        "El {day} se firmó con una clave que usted no dio ({key}...). Désela también: --key puede repetirse.",
    ),
    "days": (
        "The signed day {day} doesn't name {before} as the one before it.",
        "El día firmado {day} no nombra al {before} como el anterior.",
    ),
    "outside_signature": (
        "The head from outside, of {day}, isn't signed with this key.",
        "La firma externa, del {day}, no se hizo con esta clave.",
    ),
    "outside": (
        "What was signed on {day} is something else in this file than in the head from outside.",
        "Lo que se firmó el {day} es distinto en este archivo y en la firma externa.",
    ),
    "links_gone": (
        "On {day} there were {number} entries, and the file has {entries}.",
        "El {day} había {number} registros, y el archivo tiene {entries}.",
    ),
    "leaf": (
        "Entries 1 to {number} are not what was signed on {day}.",
        "Los registros 1 a {number} no son los que se firmaron el {day}.",
    ),
    "stamp": (
        "The time stamp of {day} doesn't hold.",
        "El sello de tiempo del {day} no es válido.",
    ),
    "nothing_signed": (
        "No signed day covers this farm's records, so nothing shows that they weren't changed.",
        "Ningún día firmado cubre los registros de esta lechería: nada muestra que no se cambiaron.",
    ),
    "table": (
        "{file}, row {row}: it isn't what the evidence holds.",
        "{file}, fila {row}: no es lo que contiene la evidencia.",
    ),
}
SAID = {
    "Rows: {rows} are as their entries recorded them; {hashes} more are told by hash only, {erased} of them erased.":
        "Filas: {rows} están como las anotaron sus registros; {hashes} más constan solo por su huella, {erased} de "
        "ellas borradas.",
    "Entries: 1 to {entries} follow one another without a gap.":
        "Registros: del 1 al {entries} se siguen sin huecos.",
    "Told without rows: {kinds}.": "Sin filas en el archivo: {kinds}.",
    "Signed on {day}: entries 1 to {number} stood so on that day.":
        "Firmado el {day}: los registros 1 a {number} estaban así ese día.",
    "... and {number} signed days between.": "... y {number} días firmados entre estos.",
    "The head from outside, of {day}, is the one in this file, or follows it.":
        "La firma externa, del {day}, es la de este archivo, o la que le sigue.",
    "The head from outside is of a day that this file can't be compared with: take one of a day within it.":
        "La firma externa es de un día con el que el archivo no se puede comparar: tome una de un día dentro de él.",
    "Time stamp: {authority} saw what was signed on {day} at {moment}.":
        "Sello de tiempo: {authority} vio lo firmado el {day} a las {moment}.",
    "The authority's certificate came with the file. Compare its SHA-256 with the authority's own: {fingerprint}.":
        "El certificado de esa autoridad venía en el archivo. Compare su SHA-256 con el de la propia autoridad: "
        "{fingerprint}.",
    "No time stamp by an authority is in this file.": "Este archivo no trae sello de tiempo de una autoridad.",
    "Not yet covered: entries {first} to {last} came after the last signed day ({moment}).":
        "Aún sin cubrir: los registros {first} a {last} llegaron después del último día firmado ({moment}).",
    "{file}: its {rows} rows are those of the evidence.": "{file}: sus {rows} filas son las de la evidencia.",
    "All of it holds.": "Todo concuerda.",
    "This doesn't hold:": "Esto no concuerda:",
    "It shows that these records stood so on the days named, and that what stood then wasn't changed since.":
        "Muestra que estos registros estaban así en los días nombrados, y que eso no se cambió después.",
    "It doesn't show that a count is true, nor who counted, nor what was never recorded. It is no legal promise.":
        "No muestra que un conteo sea cierto, ni quién contó, ni lo que nunca se anotó. No es una promesa legal.",
    "Name the public key, --key FILE, or a daily head that you have from elsewhere, --head FILE: without either, "
    "whoever made the file could have made all of it.":
        "Nombre la clave pública, --key ARCHIVO, o una firma diaria que tenga de otra parte, --head ARCHIVO: sin "
        "ninguna, quien hizo el archivo pudo haberlo hecho todo.",
    "{file} is no evidence file of Flyround's. Take the file as it came.":
        "{file} no es un archivo de evidencia de Flyround. Tome el archivo tal como llegó.",
    "{file} holds no public key as Flyround's are (Ed25519, PEM).":
        "{file} no contiene una clave pública como las de Flyround (Ed25519, PEM).",
    "{file} holds no daily head of Flyround's.": "{file} no contiene una firma diaria de Flyround.",
    "{file} is larger than 1 GB: no such file of Flyround's is.":
        "{file} pasa de 1 GB: ningún archivo de Flyround es así.",
    "{file} can't be read: {why}.": "{file} no se puede leer: {why}.",
    "This PDF carries no evidence with it: {file}. Take the report as it came.":
        "Este PDF no trae evidencia: {file}. Tome el informe tal como llegó.",
}  # fmt: skip


def say(sentence: str, **values: Any) -> str:
    """A sentence in the language of the environment."""
    return (SAID[sentence] if in_spanish() else sentence).format(**values)


def say_wrong(what: str, **values: Any) -> str:
    return WRONG[what][in_spanish()].format(**values)


def in_spanish() -> bool:
    return language().startswith("es")
