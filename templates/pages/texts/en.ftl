### The texts of the pages in English. A test holds every key against the code that uses it, both ways.

## On every page
skip = Skip to the page
menu = Main
sign-out = Sign out
find = Find
find-label = Find a worker, a sample or a site
find-hint = Worker, sample or site
demonstration = demonstration
foot = The registry informs the licensed professionals who decide; it does not replace them. The law in force where the site stands comes first.
foot-demonstration = This is the demonstration: everybody and everything in it is invented, and no second factor is asked for.
fix-now = As known now, { $day } · computed up to journal entry { $entry }
fix-then = As known at the end of { $day } · journal entry { $entry }
fix-back = Back to now
fix-other-day = Look from another day
fix-day = As known at the end of (year-month-day)
fix-look = Look from there
menu-needs-me = Needs me

## Roles
role-administrator = administrator
role-hygienist = hygienist
role-coordinator = site coordinator
role-physician = physician
role-corporate = corporate
role-on-all-sites = { $what }, all sites
role-on-sites = { $n ->
    [one] { $what }, one site
   *[other] { $what }, { $count } sites
 }

## When something is not done
stopped-number = Number of this request: { $what }
stopped-first-page = To the first page
stopped-unknown-title = There is nothing here
stopped-unknown-happened = Nothing stands at this address, or your account may not know that it does.
stopped-unknown-kept = Nothing was changed.
stopped-unknown-do = Look at the address again, or search for the thing by its number or name.
stopped-unknown-then-title = Not known on that day
stopped-unknown-then-happened = At the end of the day from which you look, the registry knew nothing of what stands here. It was entered later, or your account may not know of it.
stopped-unknown-then-kept = Nothing was changed.
stopped-unknown-then-do = Look at it as it is known now; on its page every earlier day from its entry on can be chosen.
stopped-see-now = Look as known now
stopped-forbidden-title = Your account may not do this
stopped-forbidden-happened = None of the roles of your account opens this page.
stopped-forbidden-kept = Nothing was changed.
stopped-forbidden-do = If it is your work, ask an administrator for the role.
stopped-signed-out-title = You are not signed in
stopped-signed-out-happened = Your session is over: it was not used for half an hour, or is twelve hours old.
stopped-signed-out-kept = What you had stored before is stored; what was sent just now is not.
stopped-signed-out-do = Sign in again.
stopped-from-elsewhere-title = This form did not come from here
stopped-from-elsewhere-happened = The form was sent from another page than ours, or from a page of a session that is over.
stopped-from-elsewhere-kept = Nothing was changed.
stopped-from-elsewhere-do = Go back, load the page anew and send the form once more.
stopped-no-room-title = There is no room left
stopped-no-room-happened = The disk of the registry is full.
stopped-no-room-kept = What was stored before is there and can be read; what was sent just now was not stored.
stopped-no-room-do = Tell your administrator, and send it again when there is room.
stopped-unreadable-title = This could not be read
stopped-unreadable-happened = What arrived is no form that this page knows.
stopped-unreadable-kept = Nothing was changed.
stopped-unreadable-do = Go back, load the page anew and send it once more.
stopped-too-large-title = This is too large
stopped-too-large-happened = What was sent is larger than this page takes.
stopped-too-large-kept = Nothing was changed.
stopped-too-large-do = Send it in smaller parts; very large files are loaded by the command line.
stopped-no-day-title = That is no day to look from
stopped-no-day-happened = A day to look from is written year-month-day, such as 2026-03-02, and lies in the past.
stopped-no-day-kept = Nothing was changed.
stopped-no-day-do = Go back and write it so.
stopped-inside-title = The registry failed
stopped-inside-happened = Something went wrong inside the registry.
stopped-inside-kept = Nothing of what was sent just now is stored; everything from before is.
stopped-inside-do = Try again. If it fails again, give the number below to your administrator: the log tells more under it.
stopped-conflict-title = Something stands in the way
stopped-conflict-happened = What was sent does not go with what is stored already.
stopped-conflict-kept = Nothing was changed.
stopped-conflict-do = Go back: what you typed is still there.
stopped-busy-title = The registry is busy
stopped-busy-happened = Too much is being worked on at this moment.
stopped-busy-kept = Nothing of what was sent just now is stored.
stopped-busy-do = Wait a few seconds and try again.
stopped-faults-title = Something in it is wrong
stopped-faults-happened = What was sent has faults.
stopped-faults-kept = Nothing was changed.
stopped-faults-do = Go back and mend it: what you typed is still there.
stopped-stale-title = Somebody else was quicker
stopped-stale-happened = This has changed since you opened it.
stopped-stale-kept = Nothing was changed by you.
stopped-stale-do = Open it anew, look at what changed, and decide again.

## Signing in
sign-in = Sign in
sign-in-title = Sign in
email = E-mail address
password = Password
sign-in-wrong = The address or the password is wrong.
sign-in-wait = { $n ->
    [one] Too many attempts failed. Try again in a minute, or use a device with which you have signed in before.
   *[other] Too many attempts failed. Try again in { $count } minutes, or use a device with which you have signed in before.
 }
sign-in-closed = Nobody can sign in over this line: it is not encrypted. Use the https:// address of the registry; your administrator knows it.
sign-in-help = If you have forgotten your password, an administrator can give you a code with which you choose a new one.
sign-in-demonstration = This is the demonstration. The terminal in which it was started shows the addresses and passwords, and links that sign you in. No second factor is asked for here; in service, physicians and administrators give one.
said-signed-out = You are signed out.

## One-time codes
code-title-password = Choose your password
code-title-enter = Enter the demonstration
code-lead-password = For { $what }.
code-lead-enter = You will be signed in as { $what }.
code-set-password = Set the password and sign in
code-enter = Sign in
code-once = This address works once.
password-new = New password
password-again = The same once more
password-old = Password until now
password-change = Change the password
password-not-twice = The two passwords are not the same.
password-wrong = The password { $what }.
password-rules = At least { $count } characters, better a few words that do not belong together. There is no rule about signs or capitals, and you need not change it every so often.

## Second factor
factor-title-code = One more code
factor-title-enrol = Set up your second factor
factor-lead-code = Type the code that your app shows now.
factor-lead-enrol = Physicians and administrators sign in with a password and with a code from an app that shows a new one every 30 seconds. It is set up once.
factor-step-scan = Scan this square with the app.
factor-step-type = Or type this into it (by time, six digits):
factor-step-code = Then type the code that it shows.
factor-drawing = The secret of the second factor as a square to scan
factor-code = Code of six digits
factor-give = Go on
factor-wrong = This code is wrong, or it was used before. Wait for the next one.
factor-help = If you have lost the device, an administrator can take the second factor away; then you set it up anew.

## One's own account
account-title = Your account
account-lead = { $n ->
    [one] You are signed in here and nowhere else.
   *[other] You are signed in at { $count } places.
 }
account-has-factor = A second factor is set up.
account-password = Password
account-sessions = Where you are signed in
account-sessions-note = A session ends after half an hour without use and after twelve hours in any case.
account-sessions-caption = Your sessions, the one used last first.
account-client = Browser
account-client-unknown = a browser that does not say
account-began = Since
account-seen = Last used
account-this-one = this one
account-end = End it
account-end-others = End all but this one
said-password-changed = The password is changed; your other sessions are ended.
said-session-ended = The session is ended.
said-sessions-ended = Your other sessions are ended.

## What needs me
needs-title = What needs me
needs-head = { $n ->
    [one] One thing needs you
   *[other] { $count } things need you
 }
needs-nothing = Nothing needs you now
needs-late = { $n ->
    [one] One of them is late.
   *[other] { $count } of them are late.
 }
needs-none-late = Nothing is late.
needs-moved = { $n ->
    [0] No standing has moved in the last 30 days.
    [one] One standing has moved in the last 30 days.
   *[other] { $count } standings have moved in the last 30 days.
 }
needs-late-title = Late
needs-late-note = Those that went furthest first.
needs-soon-title = Within 30 days
needs-soon-note = Duties that are yours to do.
needs-none-soon = No duty of yours falls due within 30 days.
needs-more-duties = { $n ->
    [one] One more
   *[other] { $count } more
 }
needs-more-events = { $n ->
    [one] One more event.
   *[other] { $count } more events.
 }
needs-more-changes = { $n ->
    [one] One more change.
   *[other] { $count } more changes.
 }
needs-see-duty = See the duty
needs-results-title = Results
needs-results-note = Waiting for somebody to look at them.
needs-held = Laboratory report { $what } does not fit yet
needs-held-mark = { $n ->
    [one] one row without a sample
   *[other] { $count } rows without a sample
 }
needs-held-more = The rows are held until their sample is known; nothing uses them.
needs-not-accepted = not accepted yet
needs-results = { $n ->
    [one] One result that nobody has accepted yet.
   *[other] { $count } results that nobody has accepted yet.
 }
needs-see-results = Look at the results
needs-changed-title = Changed
needs-changed-note = Verdicts on controls, and where groups stand by the law’s reading of monitoring rounds, in the last 30 days.
needs-verdict = { $what }: from { $by } to { $who }
needs-verdict-news = in the last { $count } days
needs-verdict-none = no verdict
needs-standing-before = Until then: { $what }. Stands so since { $day }, by { $by }.
needs-standing-open = Until then: { $what }. By { $by }.
needs-recommended = { $n ->
    [one] One more is recommended, without a clause that asks for it.
   *[other] { $count } more are recommended, without a clause that asks for them.
 }
needs-see-group = See the group
needs-waiting-title = Waiting elsewhere
needs-waiting-note = Nothing for you to do yet.
needs-at-laboratory = at the laboratory
needs-samples = { $n ->
    [one] One sample without a result.
   *[other] { $count } samples without a result.
 }
needs-see-event = Look
needs-manage-title = Accounts and sites
needs-manage = Accounts, tokens and sites are yours to keep. No exposure of anybody is shown to you.
needs-see-accounts = See the accounts

## Duties
duty-kind-offer-examination = Offer an examination
duty-kind-periodic-examination = Offer the next examination
duty-kind-monitor-again = Monitor again
duty-kind-notify-results = Notify the results
duty-kind-written-plan = Write a plan
duty-kind-answer-record-request = Answer the record request
duty-kind-audiogram = Test hearing
duty-kind-check-ventilation = Check the ventilation
duty-status-open = open
duty-status-met = done
duty-status-overdue = late
duty-status-declined = declined
duty-status-waived = waived
duty-status-withdrawn = withdrawn
duty-action-offered = offered
duty-action-completed = completed
duty-action-declined = declined
duty-action-notified = notified
duty-action-waived = waived
duty-somebody = a worker out of your sight
duty-days-late = { $n ->
    [one] one day late
   *[other] { $count } days late
 }
duty-in-days = { $n ->
    [one] in one day
   *[other] in { $count } days
 }
duty-today = today
duty-recommended = recommended, no clause asks for it
duty-met-late = { $n ->
    [one] done, one day late
   *[other] done, { $count } days late
 }
duty-days-counted = { $n ->
    [one] one day counted, { $what }
   *[other] { $count } days counted, { $what }
 }
duty-across-sites = days across sites
duty-learned-late = learned of after it was due
duty-employer = owed by { $who }
duty-goes-to = should now be heard of by: { $who }
duty-withdrawn-because = withdrawn: { $what }
duty-edition = edition { $what }

## Standing
standing-unknown = not known
standing-at-or-below-limit = at or below limit
standing-below-limit = below limit
standing-below-action-level = below action level
standing-at-or-above-action-level = at or above action level
standing-at-or-above-limit = at or above limit
standing-above-limit = above limit

## Tokens
token-use-api = the API
token-use-calendar = the calendar of due dates

## The page of duties
menu-duties = Duties
site = Site
every-site = all sites
show = Show
choose = choose
next-page = Next page
day-wrong = must be written year-month-day, such as 2026-03-02
duties-title = Duties
duties-found = { $n ->
    [one] One duty.
   *[other] { $count } duties.
 }
duties-late = { $n ->
    [one] One of them is late.
   *[other] { $count } of them are late.
 }
duties-none = Nothing is to be done.
duties-none-such = There is no such duty.
duties-kind = Kind
duties-every-kind = every kind
duties-state = State
duties-to-do = to be done
duties-every-state = every state
duties-before = Due before (year-month-day)
duties-kept = This choice is kept in the address: whoever may see it gets the same list by it.
duties-empty-title = No duty in this choice
duties-empty = Duties are raised by the registry itself, from results, assignments and requests, when a clause asks for something. None stands in this choice; that is no proof that none is owed: what was never measured raises little.
duties-see-every = Show every duty
duties-late-title = Late
duties-late-note = { $n ->
    [one] One; no day was moved for it.
   *[other] { $count }, those that went furthest first.
 }
duties-soon-title = Within 30 days
duties-soon-note = { $n ->
    [one] One.
   *[other] { $count }.
 }
duties-later-title = Later
duties-later-note = { $n ->
    [one] One.
   *[other] { $count }.
 }
duties-recommended-title = Recommended
duties-recommended-note = { $n ->
    [one] One, without a clause that asks for it.
   *[other] { $count }, without a clause that asks for them.
 }
duties-done-title = No longer to be done
duties-done-note = { $n ->
    [one] One.
   *[other] { $count }.
 }
duties-look = Look
duties-record-one = Record what was done
duties-record = Record it
duties-for-chosen = For the chosen duties
duties-on = On (year-month-day)
duties-note = Note (no medical finding; a waiver needs its ground)
duties-note-plain = Note (a waiver needs its ground)
duties-none-chosen = Choose at least one duty.
duties-not-yours = One of the chosen duties is not yours to answer: examinations are the physician’s, monitoring and plans the hygienist’s.
duties-not-recorded = Nothing was recorded.
field-duty = Duties
field-action = What was done
field-on = The day
field-note = The note
said-duty-recorded = It is recorded.
said-duties-recorded = It is recorded for every chosen duty.
duty-due = due { $what }
duty-why = Why
duty-learned = The registry learned of it on { $what }.
duty-basis = It rests on the journal entries { $what }.
duty-done-title = What was done
duty-nothing-done = Nothing yet.
duty-letters = Letters
duty-letters-note = To this person, as they were issued.
calendar-title = Calendar of due dates
calendar-what = A calendar program can keep an address of its own that shows what is due, without the name of any worker. Making one leaves earlier ones as they are.
calendar-make = Make the address
calendar-lead = Give this address to your calendar program. It is shown this once; whoever has it sees your due dates, and nothing else.
calendar-until = It works until { $what }. An administrator can revoke it before.

## All sites
menu-sites = Sites
agent = Agent
sites-title = All sites
sites-count = { $n ->
    [one] One site
   *[other] { $count } sites
 }
sites-nothing = Nothing is known of the last twelve months: no worker was assigned, or nothing was measured.
sites-none-above = No worker-day of the last twelve months is settled at or above an action level.
sites-above = { $what } % of the worker-days of the last twelve months, counted for each agent, are settled at or above the action level, most of them at { $who }.
sites-all-assessed = Every worker-day was assessed.
sites-unassessed = { $what } % were never assessed: of those nothing is known.
sites-failing = Controls that fail
sites-failing-note = raised, no difference shown, target missed, or above the limit still
sites-overdue = Duties late
sites-overdue-note = at the sites where their workers are
sites-empty-title = No site yet
sites-empty = Nothing can be known before there is a site. An administrator, or a hygienist of all sites, makes the first one.
sites-how = A worker-day is a worker on a date at a site, in the twelve months that end today, counted for each agent. It is settled by the worker’s own average, else by where the group stood. Counts are no rank of sites: read them beside the share that was never assessed.
sites-key = How the bars are drawn
sites-not-known = Nothing has been measured here, so nothing is known.
sites-caption = { $what }: worker-days of twelve months by agent
sites-days = Worker-days, in parts
sites-newest = Newest result
sites-no-result = none
sites-no-days = no worker-days counted
sites-no-agent = duties of no agent
parts-at-or-above = settled at or above action level
parts-below = settled below action level
parts-cannot-tell = measured, cannot tell
parts-not-assessed = not assessed
parts-at-or-above-short = at or above
parts-below-short = below
parts-cannot-tell-short = cannot tell
parts-not-assessed-short = not assessed
parts-days = { $n ->
    [one] one worker-day
   *[other] { $count } worker-days
 }
parts-of-days = { $n ->
    [one] of one worker-day in 12 months
   *[other] of { $count } worker-days in 12 months
 }

## A site
table-number = Table { $what }.
site-groups = Groups
site-groups-note = Where each stands by the law’s reading of monitoring rounds, in its newest era. The statistics may say something else: they are on the page of the group.
site-groups-caption = Groups by agent. A hatched row is not known.
site-group = Group
site-standing = Stands
site-rests-on = Rests on
site-since = since { $day }, by { $by }
site-by = by { $by }
site-shifts = { $n ->
    [one] one result, { $what } dates
   *[other] { $count } results, { $what } dates
 }
site-too-few = too few dates to describe this group
site-not-known = nothing has been measured, so nothing is known
site-no-standing = no standing by any limit
site-no-agent = no agent named for this group
site-no-groups-title = No group yet
site-no-groups = Without groups nobody’s exposure can be told from anybody else’s samples. A hygienist makes the first one.
site-nothing = Nothing is known of this site yet: it has no groups.
site-none-above = No group stands above a limit.
site-above = { $n ->
    [one] One group stands above a limit: { $who }.
   *[other] { $count } groups stand above a limit: { $who } …
 }
site-gaps = { $n ->
    [one] Of one group and agent nothing is known.
   *[other] Of { $count } groups and agents nothing is known.
 }
site-controls = Controls
site-controls-note = What each did to the exposure it was put there for, task by task.
site-no-controls-title = No verdict yet
site-no-controls = A verdict needs samples of a task without the control and with it, the other controls being the same.
site-no-verdict = no verdict
site-see-control = See the verdict
site-all-duties = All duties of this site
verdict-lowered = lowered
verdict-no-difference-shown = no difference shown
verdict-raised = raised
verdict-undecided = undecided

## Searching
find-title = Found
find-again = Search once more
find-workers = Workers
find-samples = Samples
find-groups = Groups
find-sites = Sites
find-more = There are more; say more of what you look for.
find-nothing-title = Nothing was found
find-nothing = Search for a part of a name or an employee number, the whole number of a sample, or a part of the name or code of a group or site. What is out of your sight is not found.

## Accounts and sites (administrator)
menu-accounts = Accounts
accounts-title = Accounts
accounts-lead = { $n ->
    [one] One account.
   *[other] { $count } accounts.
 }
accounts-all = All accounts
accounts-caption = Accounts; those that are switched off stand last.
accounts-roles = Roles
accounts-disabled = switched off
accounts-or-on = or on single sites:
accounts-add = Add an account
accounts-add-note = Then give the person a one-time code: with it a password is chosen. Physician and administrator never go together.
accounts-make = Make the account
reason = Reason
reason-missing = must be given
shown-once = It is shown this once.
said-account-made = The account is made. Give its owner a one-time code.
said-roles-changed = The roles are changed; the account’s sessions are ended.
said-factor-taken-away = The second factor is taken away and the account’s sessions are ended; it is set up anew at the next sign-in.
said-account-disabled = The account is switched off and its sessions are ended.
said-account-enabled = The account is switched on again.
said-token-revoked = The token is revoked.
account-disabled-because = switched off: { $what }
account-way-in = The way in
account-code-what = With a one-time code the owner chooses a password, the first or a new one. It works once, for an hour, and takes the place of any earlier code. Give it over a way that you trust.
account-code-make = Make a one-time code
account-code-made = The address at which the password is chosen:
account-factor-there = A second factor is set up.
account-factor-remove = Take the second factor away
account-roles-note = A change ends the account’s sessions, and is kept in the journal with its reason.
account-roles-change = Change the roles
account-tokens = Tokens
account-tokens-note = For programs, not for people. A token may do what its account may.
account-no-tokens = No token.
account-tokens-caption = Tokens, the newest first.
account-token-made = The token:
token-label = What for
token-opens = Opens
token-until = Works until before
token-days = Days (at most 365)
token-make = Make a token
token-revoke = Revoke it
token-revoked = revoked: { $what }
token-revoked-here = revoked on the page of the account
token-expired = expired
account-off = Switching off
account-off-note = Nothing of what the account has recorded is touched.
account-disable = Switch the account off
account-enable = Switch the account on again
menu-registered-sites = Registered sites
registered-sites-title = Registered sites
registered-sites-caption = The sites of this registry.
site-add = Add a site
site-add-note = Its rule set decides which clauses are read; a change of it later is dated.
site-code = Code
site-name = Name
site-zone = Time zone
site-zone-label = Time zone (as the IANA names it, such as America/Denver)
site-rule-set = Rule set
rule-set-us-general-industry = US general industry
rule-set-us-construction = US construction
rule-set-us-maritime = US maritime
site-make = Make the site
site-code-taken = is taken by another site
said-site-made = The site is made.
