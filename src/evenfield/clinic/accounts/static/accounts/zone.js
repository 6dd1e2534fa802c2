// Proposes the browser's own time zone where none is chosen yet.
(() => {
  "use strict";
  const field = document.querySelector('select[name="time_zone"]');
  const own = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (field && !field.value && [...field.options].some((one) => one.value === own)) field.value = own;
})();
