-- Passwords of the logins that roles.sql made, from the environment of psql 15 or newer; run by a superuser.
-- A variable that is not set leaves its line unfilled, which stops the script: no login is left without a password.

\set ON_ERROR_STOP on
\getenv owner FLYROUND_PASSWORD_OWNER
\getenv app FLYROUND_PASSWORD_APP
\getenv worker FLYROUND_PASSWORD_WORKER
\getenv cohort FLYROUND_PASSWORD_COHORT
\getenv region FLYROUND_PASSWORD_REGION
\getenv eraser FLYROUND_PASSWORD_ERASER
\getenv backup FLYROUND_PASSWORD_BACKUP

ALTER ROLE flyround_owner PASSWORD :'owner';
ALTER ROLE flyround_app PASSWORD :'app';
ALTER ROLE flyround_worker PASSWORD :'worker';
ALTER ROLE flyround_cohort PASSWORD :'cohort';
ALTER ROLE flyround_region PASSWORD :'region';
ALTER ROLE flyround_eraser PASSWORD :'eraser';
ALTER ROLE flyround_backup PASSWORD :'backup';
