"""The page at the head of the API's description: all that holds for every door."""

ABOUT = """
The whole business through one door: machines and their columns, what fits where, changeovers,
audit files and the sales they tell. JSON in UTF-8 both ways, except audit files. Lengths are
numbers in millimetres; money is text in the business's currency (`"1.75"`); moments carry their
offset (RFC 3339), save those of a machine's own clock. Beside each operation stands for which
roles it is.

## Sign in

`POST /api/v1/tokens` takes `email`, `password` and the `name` of the device, and gives a token
whose `secret` is shown this once. Send it with every request:

    curl -H 'Authorization: Bearer SECRET' https://…/api/v1/me

It lasts 180 days unless `days` says otherwise. `POST /api/v1/tokens/{id}/revoke` takes it away. A
token that is unknown, expired or taken away is answered with `bad_token` (401).

## Lists

come in pages of 100 rows; `limit` asks for others, at most 500. The body has `items`, `next` and
`previous`; follow `next` as it is until it is null, or the `Link` header (RFC 8288) until it has
no `rel="next"`. Rows added meanwhile neither double nor hide others. A parameter that is unknown,
given twice or unreadable is refused: a misspelt filter must not widen a list. Where a query asks
for a moment, a date alone is midnight where the business is.

## Writing

A body is `application/json`; a member that is unknown is refused. `GET
/api/v1/machines/{id}/columns` gives the ids of columns, `GET /api/v1/columns/{id}/what-fits` what
could go there, and `POST /api/v1/changeover-plans` plans it. `POST /api/v1/reads` takes audit
files instead, as they are (`application/octet-stream` or `text/plain`) or several as
`multipart/form-data`; each has its own `result` in the answer, so that one bad file does not hold
up the others: look at each, and not only at the status 200.

## Send it again

Where an answer may be lost on the way, send an `Idempotency-Key` of your own (a UUID will do), new
for each write. The same request with the same key within a day takes no second effect and gets the
first answer again, with `Idempotency-Replayed: true`. The same means byte for byte: another body
is `key_reused` (422). A refused write changed nothing and is not remembered, so that the key can
be used once more when the body is put right. Taking, completing and abandoning a changeover
require a key; elsewhere it is up to you. Handing in the same file twice is harmless without one.

## On the road

`GET /api/v1/road/day` gives a driver the whole day at once. What is done on it is told act by act
(`POST /api/v1/road/stops/{id}/fill` and its like); each needs a key, which holds for ever. `at`
is when it happened by the device's clock: acts may come late and out of order, and a clock that
is far off is flagged. Each answer has all that changed: the run, the stop, the visit, what the
columns hold and what the truck holds. `POST /api/v1/road/batch` takes a queue of acts and answers
each with the status that its own address would give; send the whole queue again until every
answer came.

## Edits

start from the state you saw: `GET /api/v1/products/{id}` gives its `ETag`; send it, quotes and
all, as `If-Match` with `PATCH /api/v1/products/{id}` and only the members that change. Without it
the answer is 428. If somebody else was there first it is `changed_meanwhile` (412): read again,
look, and decide anew. The answer to an edit has the next `ETag`. With `If-None-Match` a read
answers 304 while nothing has changed.

## Refusals

are problems (RFC 9457, `application/problem+json`). `code` is for programs and does not change;
`detail` is for people and may be reworded. `errors` has each place: a `pointer` into the body
(JSON Pointer, RFC 6901), a query `parameter` or a `header`, each with a `detail` and `code` of its
own.

- 400: it cannot be read: broken JSON, a bad query parameter or header. Mend the client.
- 401: sign in, again if need be. 403: your roles do not open this; `detail` says whose do.
- 404: there is no such thing, or not for you.
- 405, 406, 415: the address takes other methods or forms; `detail` lists them. 413: over 8 MiB.
- 409: it is understood but not possible as things stand; nothing was changed. With `Retry-After`
  (`busy`, `still_running`) send the same again; otherwise look at the rows first.
- 412, 428: see Edits. 422: the body is readable but not acceptable; `errors` says where and why.
- 429: more than 1200 requests a minute, or too many attempts to sign in; wait `Retry-After`
  seconds.
- 500, 503: the fault is ours. Send it again later, with the same key; name the answer's
  `X-Request-ID` when you report it.
"""
